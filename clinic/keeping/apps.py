from django.apps import AppConfig


class KeepingConfig(AppConfig):
    name = "clinic.keeping"
    label = "keeping"
