"""Notes every backup, drill and restore, also those that fail; runs the drill."""

import logging
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import psycopg
from django.db import DatabaseError, transaction
from django.utils import timezone

from clinic.keeping.backup_errors import BackupRefused, NoRightToTry
from clinic.keeping.databases import scratch_database, working_in
from clinic.keeping.files import latest_of
from clinic.keeping.models import Run, RunKind
from clinic.keeping.passphrase import backup_passphrase
from clinic.keeping.sentences import sentence
from clinic.keeping.services.backup import Backup
from clinic.keeping.services.restore import Say, check_restored, restore_backup

log = logging.getLogger(__name__)


@dataclass
class Noted:
    """What a run leaves to be noted; `backup` is set once it is known."""

    backup: Backup | None = None


@contextmanager
def noted(kind: RunKind) -> Iterator[Noted]:
    """Keep how the work inside ended, and let its error pass."""
    began_at, run = timezone.now(), Noted()
    try:
        yield run
    except BackupRefused as error:
        _keep(kind, began_at, run, said=sentence(error))
        raise
    except Exception as error:
        _keep(kind, began_at, run, said=f"It broke off: {type(error).__name__}.")
        raise
    _keep(kind, began_at, run, said="")


def drill(*, folder: Path, say: Say) -> Backup:
    """Restore the newest backup of a folder into a scratch database, check it and drop it.

    Raises PassphraseMissing, NoBackupFound, NoRightToTry, NotAsSigned and what `restore_backup`
    raises.
    """
    with noted(RunKind.DRILL) as run:
        passphrase, path = backup_passphrase(), latest_of(folder)
        say(f"Trying {path.name} ...")
        try:
            with scratch_database() as name, working_in(name):
                run.backup = restore_backup(path=path, passphrase=passphrase, say=say)
                check_restored(say=say)
        except psycopg.errors.InsufficientPrivilege as error:
            raise NoRightToTry from error
        return run.backup


def note_restored(backup: Backup, began_at: datetime) -> None:
    """Say in the restored database that it was restored; an old schema cannot say it."""
    _keep(RunKind.RESTORE, began_at, Noted(backup), said="")


def _keep(kind: RunKind, began_at: datetime, run: Noted, *, said: str) -> None:
    backup = run.backup
    held = {} if backup is None else _held(backup)
    run_over = Run(
        kind=kind,
        began_at=began_at,
        ended_at=timezone.now(),
        is_good=not said,
        said=said[:400],
        **held,
    )
    # A backup is no worse for a database that is gone, or too old, to have it noted.
    try:
        with transaction.atomic():
            run_over.save()
    except DatabaseError as error:
        log.warning("The %s could not be noted: %s", kind, type(error).__name__)


def _held(backup: Backup) -> dict[str, object]:
    return {
        "file_name": backup.path.name[:200],
        "backup_made_at": backup.made_at,
        "byte_count": backup.byte_count,
        "row_count": backup.trailer.rows,
        "table_count": len(backup.trailer.tables),
    }
