from django.apps import AppConfig


class AccountsConfig(AppConfig):
    name = "clinic.accounts"
    label = "accounts"
