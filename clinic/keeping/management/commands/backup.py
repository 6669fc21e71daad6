"""`manage.py backup PATH`: everything, encrypted, in one file that can be verified."""

from argparse import ArgumentParser, ArgumentTypeError
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand

from clinic.keeping.databases import name_of_database
from clinic.keeping.files import clear_away, target_of
from clinic.keeping.models import RunKind
from clinic.keeping.passphrase import backup_passphrase
from clinic.keeping.services.backup import write_backup
from clinic.keeping.services.runs import noted
from clinic.keeping.telling import refusing_in_words, told

# More than any backup is kept; a timedelta could not count every number that can be typed.
MOST_DAYS = 36_500


def whole_days(typed: str) -> int:
    """1 day or more: less would leave nothing but the newest."""
    if not 1 <= int(typed) <= MOST_DAYS:
        raise ArgumentTypeError(f"type whole days from 1 to {MOST_DAYS}")
    return int(typed)


class Command(BaseCommand):
    help = (
        "Write an encrypted backup of everything to PATH, a new file or a folder, and read it back."
        " The passphrase is EBBLINE_BACKUP_PASSPHRASE: without it nobody reads the backup, you"
        " neither. Sign-ins and failed sign-ins are left out."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("path", type=Path, help="a new file, or a folder to put it in")
        parser.add_argument(
            "--keep-days",
            type=whole_days,
            help="afterwards remove backups of that folder older than this; the newest stays",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        self.stdout.write(f"Backing up {name_of_database()} ...")
        with refusing_in_words(), noted(RunKind.BACKUP) as run:
            target = target_of(options["path"], datetime.now(UTC))
            run.backup = write_backup(target=target, passphrase=backup_passphrase())
        self.stdout.write(f"{target}: {told(run.backup)}. Read back and found whole.")
        if options["keep_days"] is not None:
            self._clear_away(target.parent, options["keep_days"])

    def _clear_away(self, folder: Path, days: int) -> None:
        gone = clear_away(folder, older_than=timedelta(days=days), now=datetime.now(UTC))
        if gone:
            self.stdout.write(f"Removed {len(gone)} older than {days} days.")
