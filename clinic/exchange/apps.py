from django.apps import AppConfig


class ExchangeConfig(AppConfig):
    name = "clinic.exchange"
    label = "exchange"
