"""`manage.py demo`: an invented clinic, ready to be looked at."""

from argparse import ArgumentParser
from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from clinic.demo.accounts import Account
from clinic.demo.loading import Holding, holding, load
from clinic.demo.serving import ADDRESS, PortTaken, check_port, letters_compiled, serve

NOT_A_TRIAL = (
    "DATABASE_URL is set, so this is a clinic's own database and the demo stays out of it. Unset"
    " DATABASE_URL to use the trial database, or add --i-know if this database is only for trying."
)
NOT_OURS = (
    "The database holds accounts or clients that are not the demo's, so nothing was changed."
    " Start the server without the demo, or name another database in DATABASE_URL"
    " (for the trial: another folder in EBBLINE_TRIAL_FOLDER)."
)


class Command(BaseCommand):
    help = "Set up the database, load the invented clinic once, print its accounts and serve it."
    requires_migrations_checks = False

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--port", type=int, default=8000, help="where to serve (8000)")
        parser.add_argument("--no-serve", action="store_true", help="load only, do not serve")
        parser.add_argument(
            "--i-know", action="store_true", help="load into a database that is not a trial's"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        if not settings.IS_TRIAL and not options["i_know"]:
            raise CommandError(NOT_A_TRIAL)
        if not options["no_serve"]:
            self._check_port(options["port"])
        self._load()
        if not options["no_serve"]:
            with letters_compiled():
                serve(options["port"], when_ready=lambda: self._say_where(options["port"]))

    def _check_port(self, port: int) -> None:
        try:
            check_port(port)
        except PortTaken:
            raise CommandError(
                f"Port {port} is taken, or may not be used by you. Stop what runs there, or choose"
                f" another: manage.py demo --port {port + 1 if 1024 <= port < 65535 else 8080}"
            ) from None

    def _load(self) -> None:
        found = holding()
        if found is Holding.OTHER:
            raise CommandError(NOT_OURS)
        self._say("Setting up the database ...")
        call_command("migrate", verbosity=0)
        if found is Holding.DEMO:
            self._say("The invented clinic is there already; nothing was changed.")
        else:
            self._say("Loading the invented clinic: two years in a few seconds ...")
        self._print_accounts(load(timezone.localdate(), say=self._say))

    def _print_accounts(self, accounts: list[Account]) -> None:
        self._say("")
        self._say(f"  {'sign-in name':14}{'one-time password':22}{'role':14}name")
        for account in accounts:
            password = account.password or "(chosen earlier)"
            role = account.role.label
            self._say(f"  {account.sign_in_name:14}{password:22}{role:14}{account.display_name}")
        self._say("")
        if all(account.password for account in accounts):
            self._say("Each password works once: the first page asks for one of your own.")
        else:
            self._say("For a new one-time password: manage.py one_time_password NAME")

    def _say_where(self, port: int) -> None:
        self._say(f"\nOpen http://{ADDRESS}:{port}/ in a browser. Ctrl-C stops the demo.")

    def _say(self, text: str) -> None:
        self.stdout.write(text)
        self.stdout.flush()
