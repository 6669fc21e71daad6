"""`manage.py one_time_password NAME`: a way in for who has lost theirs."""

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from clinic.accounts.management.names import person_named
from clinic.accounts.sentences import ONE_TIME_WORDS
from clinic.accounts.services import renew_one_time_password


class Command(BaseCommand):
    help = "Replace a person's password by a one-time password and print it."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("name", help="the sign-in name")

    def handle(self, *args: Any, **options: Any) -> None:
        user = person_named(options["name"])
        if not user.is_active:
            raise CommandError(
                f"The account {user.sign_in_name} is switched off. The clinic lead can switch it"
                " on under Staff; then run this again."
            )
        self.stdout.write(f"{user.sign_in_name}  {renew_one_time_password(user=user)}")
        self.stdout.write(ONE_TIME_WORDS)
