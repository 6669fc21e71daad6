from django.urls import path

from clinic.visits.views import note_parts, note_signing, notes

NOTE = "visits/<uuid:note_id>/"

urlpatterns = [
    path("episodes/<uuid:episode_id>/visits/", notes.visits, name="visits"),
    path("episodes/<uuid:episode_id>/visits/new/", notes.new, name="visit-new"),
    path(
        "appointments/<uuid:appointment_id>/visit/", notes.of_appointment, name="appointment-visit"
    ),
    path(NOTE, notes.visit, name="visit"),
    path(f"{NOTE}save/", notes.save, name="visit-save"),
    path(f"{NOTE}settle/", notes.settle, name="visit-settle"),
    path(f"{NOTE}copy/", notes.copy, name="visit-copy"),
    path(f"{NOTE}discard/", notes.discard, name="visit-discard"),
    path(f"{NOTE}precautions/", note_parts.precautions, name="visit-precautions"),
    path(f"{NOTE}adherence/", note_parts.adherence, name="visit-adherence"),
    path(f"{NOTE}readings/", note_parts.readings, name="visit-readings"),
    path(f"{NOTE}red-flag/", note_parts.red_flag, name="visit-red-flag"),
    path(f"{NOTE}sign/", note_signing.sign, name="visit-sign"),
    path(f"{NOTE}cosign/", note_signing.cosign, name="visit-cosign"),
    path(f"{NOTE}addendum/", note_signing.addendum, name="visit-addendum"),
    path(f"{NOTE}print/", note_signing.printed, name="visit-print"),
]
