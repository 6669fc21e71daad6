"""`manage.py reset_second_step NAME`: for a clinic lead whose phone and recovery codes are lost.

Colleagues' are reset by the lead in the app.
"""

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand

from clinic.accounts.management.names import person_named
from clinic.accounts.second_step import remove_second_factor


class Command(BaseCommand):
    help = "Forget a person's authenticator app and recovery codes; they set it up anew."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("name", help="the sign-in name")

    def handle(self, *args: Any, **options: Any) -> None:
        user = person_named(options["name"])
        remove_second_factor(user=user, by=None)
        self.stdout.write(f"{user.sign_in_name} signs in with the password and sets it up anew.")
