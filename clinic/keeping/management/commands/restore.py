"""`manage.py restore PATH`: a backup into an empty database, proved to be the same."""

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand
from django.utils import timezone

from clinic.keeping.passphrase import backup_passphrase
from clinic.keeping.services.restore import check_restored, restore_backup
from clinic.keeping.services.runs import note_restored
from clinic.keeping.telling import refusing_in_words, told


class Command(BaseCommand):
    help = (
        "Restore a backup into the empty database that DATABASE_URL names, and compare every table"
        " with the backup. Run `migrate` afterwards if the backup is of an earlier release."
    )
    requires_migrations_checks = False

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("path", type=Path)

    def handle(self, *args: Any, **options: Any) -> None:
        began_at = timezone.now()
        with refusing_in_words():
            backup = restore_backup(
                path=options["path"], passphrase=backup_passphrase(), say=self._say
            )
            self._say(f"Every table, count, hash and sequence is the backup's: {told(backup)}.")
            check_restored(say=self._say)
            note_restored(backup, began_at)
        self._say("Restored. Everybody signs in anew.")

    def _say(self, text: str) -> None:
        self.stdout.write(text)
        self.stdout.flush()
