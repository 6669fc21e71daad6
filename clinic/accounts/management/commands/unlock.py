"""`manage.py unlock NAME`: lets who mistyped a password or code too often try again at once."""

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand

from clinic.accounts.management.names import person_named
from clinic.accounts.services import unlock


class Command(BaseCommand):
    help = "Lift the lock that too many wrong passwords or codes have put on a person."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("name", help="the sign-in name")

    def handle(self, *args: Any, **options: Any) -> None:
        user = person_named(options["name"])
        unlock(user=user)
        self.stdout.write(f"{user.sign_in_name} may try again now.")
