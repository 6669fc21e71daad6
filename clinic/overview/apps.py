from django.apps import AppConfig


class OverviewConfig(AppConfig):
    name = "clinic.overview"
    label = "overview"
