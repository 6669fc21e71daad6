from django.urls import path

from clinic.visits.views import compression

urlpatterns = [
    path("episodes/<uuid:episode_id>/bandaging/", compression.bandaging, name="bandaging"),
    path(
        "episodes/<uuid:episode_id>/bandaging/new/",
        compression.bandage_limb,
        name="bandaging-new",
    ),
    path("bandages/<uuid:record_id>/", compression.bandage, name="bandage"),
    path(
        "episodes/<uuid:episode_id>/garment-fitting/",
        compression.fit_garment,
        name="garment-fitting",
    ),
]
