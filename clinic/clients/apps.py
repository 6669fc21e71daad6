from django.apps import AppConfig


class ClientsConfig(AppConfig):
    name = "clinic.clients"
    label = "clients"
