from django.apps import AppConfig


class SchedulingConfig(AppConfig):
    name = "clinic.scheduling"
    label = "scheduling"
