from django.urls import path

from clinic.overview import report_views, views

urlpatterns = [
    path("", views.today, name="today"),
    path("clients/<uuid:client_id>/", views.client, name="client"),
    path("clients/<uuid:client_id>/record-history/", views.record_history, name="client-history"),
    path("practice-report/", report_views.practice_report, name="practice-report"),
    path("practice-report/file/", report_views.practice_report_file, name="practice-report-file"),
]
