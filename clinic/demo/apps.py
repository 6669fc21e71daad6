from django.apps import AppConfig


class DemoConfig(AppConfig):
    name = "clinic.demo"
    label = "demo"
    verbose_name = "demo"
