from django.urls import path

from clinic.keeping.views import holds, records, standing

CLIENT = "clients/<uuid:client_id>/"

urlpatterns = [
    path("keeping/", standing.keeping, name="keeping"),
    path("keeping/retention/", standing.past_retention, name="retention"),
    path("keeping/retention/edit/", standing.retention_rules, name="retention-rules"),
    path("erasures/", records.erasures_asked, name="erasures"),
    path("erasures/<int:erasure_id>/confirm/", records.confirm, name="erasure-confirm"),
    path("erasures/<int:erasure_id>/withdraw/", records.withdraw, name="erasure-withdraw"),
    path("holds/<int:hold_id>/lift/", holds.lift, name="hold-lift"),
    path(f"{CLIENT}hold/", holds.hold, name="client-hold"),
    path(f"{CLIENT}merge/", records.choose_other, name="client-merge"),
    path(f"{CLIENT}merge/<uuid:other_id>/", records.merge, name="client-merge-with"),
    path(f"{CLIENT}export/", records.export, name="client-export"),
    path(f"{CLIENT}export/file/", records.export_file, name="client-export-file"),
    path(f"{CLIENT}erase/", records.erase, name="client-erase"),
]
