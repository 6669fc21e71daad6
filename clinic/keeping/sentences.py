"""A broken rule of keeping as the sentence that a person reads."""

from collections.abc import Callable
from typing import Any

from clinic.common.errors import RuleBroken
from clinic.keeping import backup_errors as backups

BACKUP_SENTENCES: dict[type[RuleBroken], Callable[[Any], str]] = {
    backups.PassphraseMissing: lambda error: (
        "Backups need a passphrase: set EBBLINE_BACKUP_PASSPHRASE, or name a readable file in"
        f" EBBLINE_BACKUP_PASSPHRASE_FILE. It has at least {error.least} characters."
    ),
    backups.NotABackup: lambda error: "This file is not a backup of Ebbline.",
    backups.NewerFormat: lambda error: (
        f"A later release wrote this backup (format {error.found}; this one reads up to"
        f" {error.known}). Restore it with that release."
    ),
    backups.WrongPassphrase: lambda error: (
        "The passphrase is not the one this backup was sealed with, or the beginning of the file"
        " was altered. Nothing was read."
    ),
    backups.Damaged: lambda error: (
        "The backup is not what was written: it was altered, or cut off. Nothing of it is kept."
        " Take an earlier one."
    ),
    backups.CannotWrite: lambda error: (
        f"The backup could not be written: {error.reason}."
        + (" The disk is full; make room and run it again." if error.is_full else "")
        + " No half file is left behind."
    ),
    backups.CannotRead: lambda error: f"The file could not be opened: {error.reason}.",
    backups.NoRightToTry: lambda error: (
        "The drill needs a scratch database, and the app's role may not make one. Grant it once:"
        " ALTER ROLE ... CREATEDB."
    ),
    backups.NewerSchema: lambda error: (
        f"The backup comes from a later release (it knows {', '.join(error.unknown[:3])}). Restore"
        " it with that release."
    ),
    backups.NotEmpty: lambda error: (
        f"The database is not empty: it holds {error.what}. Nothing was changed. Restore into a"
        " fresh, empty database."
    ),
    backups.OtherColumns: lambda error: (
        f"The table {error.table} is not the one that was backed up. Nothing was restored."
    ),
    backups.NotTheSame: lambda error: (
        f"What was restored is not the same in {', '.join(error.differing[:5])}. Nothing of it was"
        " kept."
    ),
    backups.NotAsSigned: lambda error: (
        f"The records are those of the backup, but {error.args[0]} finds some that are not as they"
        " were signed or recorded. Run it in the clinic's own database as well."
    ),
    backups.NoBackupFound: lambda error: "The folder holds no backup.",
}


def sentence(error: RuleBroken) -> str:
    """The words for a broken rule. KeyError for a rule of another app."""
    return BACKUP_SENTENCES[type(error)](error)
