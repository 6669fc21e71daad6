from django.urls import path

from programmes.views import care, editor, given

urlpatterns = [
    path("episodes/<uuid:episode_id>/programmes/", given.programmes, name="programmes"),
    path("episodes/<uuid:episode_id>/programmes/new/", editor.begin, name="programme-new"),
    path("episodes/<uuid:episode_id>/adherence/", care.adherence, name="adherence"),
    path("programmes/<uuid:programme_id>/", editor.programme, name="programme"),
    path("programmes/<uuid:programme_id>/ground/", editor.ground, name="programme-ground"),
    path("programmes/<uuid:programme_id>/discard/", editor.discard, name="programme-discard"),
    path("programmes/<uuid:programme_id>/issue/", given.issue, name="programme-issue"),
    path("programmes/<uuid:programme_id>/withdraw/", given.withdraw, name="programme-withdraw"),
    path("programmes/<uuid:programme_id>/handout/", given.handout, name="programme-handout"),
    path("programmes/<uuid:programme_id>/phone/", given.phone, name="programme-phone"),
    path(
        "clients/<uuid:client_id>/precautions/ask/",
        care.ask_precautions,
        name="precautions-ask",
    ),
    path("exercises/", care.exercises, name="exercises"),
    path("counts/", care.clinic_counts, name="clinic-counts"),
    path("exercises/new/", care.exercise, name="exercise-new"),
    path("exercises/<int:exercise_id>/", care.exercise, name="exercise-edit"),
]
