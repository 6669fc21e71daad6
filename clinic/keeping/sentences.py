"""A broken rule of keeping as the sentence that a person reads."""

from collections.abc import Callable, Sequence
from datetime import date
from typing import Any

from django.utils import timezone

from clinic.clients.errors import RecordGone
from clinic.clients.record_requests import CopyRequest
from clinic.clients.sentences import SENTENCES as OF_CLIENTS
from clinic.common.errors import RuleBroken
from clinic.keeping import backup_errors as backups
from clinic.keeping import errors

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
    backups.CannotRead: lambda error: f"The file could not be read: {error.reason}.",
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
    backups.NoBackupFound: lambda error: (
        f"There is no backup in {error.folder}. Name the folder that backups are written to."
    ),
}

RECORD_SENTENCES: dict[type[RuleBroken], Callable[[Any], str]] = {
    errors.SameRecord: lambda error: "This is the same record. Type the number of the other one.",
    errors.BookingsOverlap: lambda error: (
        f"Nothing is merged yet: the two are booked at the same time ({_times(error.overlaps)})."
        " What to do about each stands above."
    ),
    RecordGone: OF_CLIENTS[RecordGone],
    errors.StillKept: lambda error: (
        f"This record must be kept until {_day(error.until)}. Earlier it is erased only where a law"
        " or a court demands it."
    ),
    errors.StillBooked: lambda error: (
        "The client has an appointment to come. Cancel it first."
        if error.count == 1
        else f"The client has {error.count} appointments to come. Cancel them first."
    ),
    errors.StillAsked: lambda error: (
        f"The client waits for an answer: {_asked(error.requests)}. Answer first; the client's page"
        " shows what was asked."
    ),
    errors.StillHeld: lambda error: (
        f"This record is held against erasure (“{error.reason}”). A clinic lead lifts the hold"
        " first."
    ),
    errors.HeldAlready: lambda error: (
        "Somebody has held this record since you opened the page. Nothing was changed."
    ),
    errors.AskedAlready: lambda error: (
        "An erasure of this record was asked and waits for its second person. It is confirmed or"
        " withdrawn first."
    ),
    errors.SamePerson: lambda error: (
        "You asked for this erasure yourself. Another person confirms it."
    ),
    errors.NotOpen: lambda error: "Somebody has decided this before. Nothing was changed.",
}


def sentence(error: RuleBroken) -> str:
    """The words for a broken rule. KeyError for a rule of another app."""
    return (BACKUP_SENTENCES | RECORD_SENTENCES)[type(error)](error)


def _day(day: date) -> str:
    return f"{day:%-d %b %Y}"


def _asked(requests: Sequence[Any]) -> str:
    """What a client asked about the own record, and when."""
    return " and ".join(
        f"{'a copy' if isinstance(request, CopyRequest) else 'a correction'} of the record, asked"
        f" for on {_day(request.asked_on)}"
        for request in requests
    )


def _times(overlaps: Sequence[Any]) -> str:
    starts = [timezone.localtime(overlap.mine.period.lower) for overlap in overlaps]
    return "; ".join(f"{start:%-d %b %Y, %H:%M}" for start in starts)
