from django.urls import path

from programmes.views import care, editor, garments, given, size_charts

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
    path("episodes/<uuid:episode_id>/garments/", garments.garments, name="garments"),
    path("episodes/<uuid:episode_id>/garments/new/", garments.new_garment, name="garment-new"),
    path("garments/<uuid:garment_id>/", garments.garment, name="garment"),
    path("garments/<uuid:garment_id>/edit/", garments.edit_garment, name="garment-edit"),
    path("garments/<uuid:garment_id>/fit/", garments.check_fit, name="garment-fit"),
    path("garments/<uuid:garment_id>/end/", garments.end_garment, name="garment-end"),
    path("size-charts/", size_charts.charts, name="size-charts"),
    path("size-charts/import/", size_charts.import_chart, name="size-chart-import"),
    path("size-charts/<uuid:chart_id>/", size_charts.chart, name="size-chart"),
    path("size-charts/<uuid:chart_id>/retire/", size_charts.retire, name="size-chart-retire"),
]
