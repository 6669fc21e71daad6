"""`manage.py one_time_password NAME`: a way in for who has lost theirs."""

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from clinic.accounts.models import User
from clinic.accounts.services import renew_one_time_password


class Command(BaseCommand):
    help = "Replace a person's password by a one-time password and print it."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("name", help="the sign-in name")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            user = User.objects.get_by_natural_key(options["name"])
        except User.DoesNotExist:
            raise CommandError(
                f"Nobody signs in as {options['name']}. Sign-in names: {_names()}."
            ) from None
        if not user.is_active:
            raise CommandError(
                f"The account {user.sign_in_name} is switched off. The clinic lead can switch it"
                " on under Staff; then run this again."
            )
        self.stdout.write(f"{user.sign_in_name}  {renew_one_time_password(user=user)}")
        self.stdout.write("It works once: the first page asks for a password of one's own.")


def _names() -> str:
    names = User.objects.filter(is_active=True).values_list("sign_in_name", flat=True)
    return ", ".join(names) or "none yet; make one with manage.py add_staff NAME --role clinic_lead"
