from django.urls import path

from clinic.overview import caseload_views, record_views, report_views, views

urlpatterns = [
    path("", views.today, name="today"),
    path("caseload/", caseload_views.caseload, name="caseload"),
    path("caseload/views/new/", caseload_views.save_view, name="caseload-view-new"),
    path("caseload/views/<int:view_id>/edit/", caseload_views.save_view, name="caseload-view-edit"),
    path(
        "caseload/views/<int:view_id>/delete/",
        caseload_views.delete_view,
        name="caseload-view-delete",
    ),
    path("clients/<uuid:client_id>/", views.client, name="client"),
    path(
        "clients/<uuid:client_id>/record-history/",
        record_views.record_history,
        name="client-history",
    ),
    path("record/", record_views.record_search_page, name="record"),
    path("record/file/", record_views.record_file, name="record-file"),
    path("practice-report/", report_views.practice_report, name="practice-report"),
    path("practice-report/file/", report_views.practice_report_file, name="practice-report-file"),
]
