from django.apps import AppConfig


class LettersConfig(AppConfig):
    name = "clinic.letters"
    label = "letters"
