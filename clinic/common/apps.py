from django.apps import AppConfig


class CommonConfig(AppConfig):
    name = "clinic.common"
    label = "common"
