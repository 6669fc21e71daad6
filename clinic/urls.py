"""Puts the apps' addresses together."""

from django.urls import include, path

handler500 = "clinic.common.failing.server_error"

urlpatterns = [
    path("", include("clinic.overview.urls")),
    path("", include("clinic.accounts.urls")),
    path("", include("clinic.clients.urls")),
    path("", include("measurements.urls")),
    path("", include("programmes.urls")),
    path("", include("clinic.scheduling.urls")),
    path("", include("clinic.visits.urls")),
    path("", include("clinic.letters.urls")),
    path("", include("clinic.exchange.urls")),
    path("", include("clinic.keeping.urls")),
]
