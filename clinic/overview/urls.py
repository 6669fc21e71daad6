from django.urls import path

from clinic.overview import views

urlpatterns = [
    path("", views.today, name="today"),
    path("clients/<uuid:client_id>/", views.client, name="client"),
    path("clients/<uuid:client_id>/record-history/", views.record_history, name="client-history"),
]
