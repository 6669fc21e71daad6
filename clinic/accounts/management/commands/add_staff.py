"""`manage.py add_staff NAME --role ROLE`: a clinic's first account.

Later ones are made in the app by the clinic lead.
"""

from argparse import ArgumentParser
from typing import Any

from django.core.exceptions import ValidationError
from django.core.management.base import BaseCommand, CommandError

from clinic.accounts.models import User
from clinic.accounts.sentences import ONE_TIME_WORDS
from clinic.accounts.services import add_staff
from clinic.common.vocabulary import Role


class Command(BaseCommand):
    help = "Open a staff account and print its one-time password."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("name", help="the sign-in name")
        parser.add_argument("--role", required=True, choices=[role.value for role in Role])
        parser.add_argument("--display-name", default="", help='as colleagues read it: "Ada Roe"')
        parser.add_argument("--credentials", default="", help='as under a letter: "PT, DPT"')

    def handle(self, *args: Any, **options: Any) -> None:
        name = options["name"].strip()
        user = User(
            sign_in_name=name,
            display_name=options["display_name"].strip() or name,
            role=Role(options["role"]),
            credentials=options["credentials"].strip(),
        )
        try:
            user.full_clean(exclude=["password"])
        except ValidationError as error:
            raise CommandError(" ".join(error.messages)) from None
        self.stdout.write(f"{name}  {add_staff(user=user)}")
        self.stdout.write(ONE_TIME_WORDS)
