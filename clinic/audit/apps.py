from django.apps import AppConfig


class AuditConfig(AppConfig):
    name = "clinic.audit"
    label = "audit"
