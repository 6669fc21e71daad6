from django.urls import path

from clinic.visits.views import lists

urlpatterns = [
    path("charting/services/", lists.services, name="charting-services"),
    path("charting/services/new/", lists.service, name="charting-service-new"),
    path("charting/services/<int:service_id>/", lists.service, name="charting-service"),
    path("charting/phrases/", lists.phrases, name="charting-phrases"),
    path("charting/phrases/new/", lists.phrase, name="charting-phrase-new"),
    path("charting/phrases/<int:phrase_id>/", lists.phrase, name="charting-phrase"),
    path(
        "charting/phrases/<int:phrase_id>/remove/",
        lists.remove_phrase,
        name="charting-phrase-remove",
    ),
    path("charting/rules/", lists.charting_rules, name="charting-rules"),
]
