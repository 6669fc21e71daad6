from django.urls import path

from clinic.exchange.views import importing, taking

urlpatterns = [
    path("data/", taking.exchange, name="exchange"),
    path("data/out/<slug:what>/", taking.take_all_out, name="exchange-out"),
    path("data/in/<slug:kind>/", importing.import_list, name="exchange-import"),
    path("clients/<uuid:client_id>/take-out/", taking.take_client_out, name="client-take-out"),
]
