"""`manage.py verify_backup PATH`: whether a backup is whole, without any database."""

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand

from clinic.keeping.passphrase import backup_passphrase
from clinic.keeping.services.backup import read_backup
from clinic.keeping.telling import refusing_in_words, told, told_tables


class Command(BaseCommand):
    help = "Decrypt a backup and compare every count and hash in it. Touches no database."
    requires_system_checks = ()

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("path", type=Path)

    def handle(self, *args: Any, **options: Any) -> None:
        with refusing_in_words():
            backup = read_backup(path=options["path"], passphrase=backup_passphrase())
        self.stdout.write(told_tables(backup))
        self.stdout.write(f"Whole: {told(backup)}.")
