from django.urls import path

from clinic.exchange.views import importing, requests, taking

urlpatterns = [
    path("data/", taking.exchange, name="exchange"),
    path("data/out/<slug:what>/", taking.take_all_out, name="exchange-out"),
    path("data/in/<slug:kind>/", importing.import_list, name="exchange-import"),
    path("clients/<uuid:client_id>/take-out/", taking.take_client_out, name="client-take-out"),
    path("record-requests/", requests.waiting, name="record-requests"),
    path("clients/<uuid:client_id>/copies/new/", requests.ask_copy, name="copy-new"),
    path("record-copies/<int:copy_id>/", requests.copy, name="copy"),
    path("record-copies/<int:copy_id>/file/", requests.copy_pdf, name="copy-file"),
    path(
        "clients/<uuid:client_id>/corrections/new/", requests.ask_correction, name="correction-new"
    ),
    path("corrections/<int:correction_id>/", requests.correction, name="correction"),
    path("corrections/<int:correction_id>/file/", requests.correction_pdf, name="correction-file"),
]
