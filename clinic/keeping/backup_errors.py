"""Why a backup cannot be written, read or restored. Pure; the sentences are in `sentences.py`."""

from clinic.common.errors import RuleBroken

# RuleBroken
# └── BackupRefused
#     ├── PassphraseMissing
#     ├── NotABackup
#     ├── NewerFormat
#     ├── WrongPassphrase
#     ├── Damaged
#     ├── CannotWrite
#     ├── CannotRead
#     ├── NoRightToTry
#     ├── NewerSchema
#     ├── NotEmpty
#     ├── OtherColumns
#     ├── NotTheSame
#     ├── NotAsSigned
#     └── NoBackupFound


class BackupRefused(RuleBroken):
    """A backup that was not written, read or restored; nothing half done is left behind."""


class PassphraseMissing(BackupRefused):
    """No passphrase is set, or it is shorter than `least` characters."""

    def __init__(self, least: int) -> None:
        super().__init__(least)
        self.least = least


class NotABackup(BackupRefused):
    """The file does not begin as a backup does."""


class NewerFormat(BackupRefused):
    """A later release wrote the file in a way this one cannot read."""

    def __init__(self, found: int, known: int) -> None:
        super().__init__(found, known)
        self.found = found
        self.known = known


class WrongPassphrase(BackupRefused):
    """The passphrase is another one, or the head of the file was altered."""


class Damaged(BackupRefused):
    """The content is not what was written: altered, reordered or cut off."""


class CannotWrite(BackupRefused):
    """The file could not be written; `reason` is the system's own word."""

    def __init__(self, reason: str, *, is_full: bool = False) -> None:
        super().__init__(reason)
        self.reason = reason
        self.is_full = is_full


class CannotRead(BackupRefused):
    """The file could not be read; `reason` is the system's own word."""

    def __init__(self, reason: str) -> None:
        super().__init__(reason)
        self.reason = reason


class NoRightToTry(BackupRefused):
    """The app's role may not make the scratch database that a drill needs."""


class NewerSchema(BackupRefused):
    """The backup holds migrations that this release does not know."""

    def __init__(self, unknown: list[str]) -> None:
        super().__init__(unknown)
        self.unknown = unknown


class NotEmpty(BackupRefused):
    """The database holds records or a later schema; `what` says which."""

    def __init__(self, what: str) -> None:
        super().__init__(what)
        self.what = what


class OtherColumns(BackupRefused):
    """The table of the database is not the one that was backed up."""

    def __init__(self, table: str) -> None:
        super().__init__(table)
        self.table = table


class NotTheSame(BackupRefused):
    """What was restored differs from the backup in these tables."""

    def __init__(self, differing: list[str]) -> None:
        super().__init__(differing)
        self.differing = differing


class NotAsSigned(BackupRefused):
    """The restored records are those of the backup, and some signed ones fail their own check."""


class NoBackupFound(BackupRefused):
    """The folder holds no backup, or is none."""

    def __init__(self, folder: str) -> None:
        super().__init__(folder)
        self.folder = folder
