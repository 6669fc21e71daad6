"""Backup files: their names, and how one is written whole or not at all. No Django."""

import errno
import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from datetime import datetime, timedelta
from pathlib import Path
from typing import BinaryIO

from clinic.keeping.backup_errors import CannotWrite, NoBackupFound

SUFFIX = ".ebbline-backup"
UNFINISHED = ".unfinished-ebbline-backup"
FULL = {errno.ENOSPC, errno.EDQUOT, errno.EFBIG}
# A file begun so long ago belongs to a process that was killed.
ABANDONED_AFTER = timedelta(days=1)


def target_of(path: Path, now: datetime) -> Path:
    """The file to write: `path` itself, or in a folder one named by the moment (UTC).

    Raises CannotWrite for a name that no drill would find: as that of a folder that is not there.
    """
    if path.is_dir():
        return path / f"{now:%Y-%m-%d-%H%M%S}{SUFFIX}"
    if not path.name.endswith(SUFFIX):
        raise CannotWrite(f"{path} is no folder, and the name of a backup ends in {SUFFIX}")
    return path


def latest_of(folder: Path) -> Path:
    """The newest backup of a folder. Raises NoBackupFound."""
    found = backups_of(folder)
    if not found:
        raise NoBackupFound(str(folder))
    return found[-1]


def backups_of(folder: Path) -> list[Path]:
    """The backups of a folder, oldest first."""
    return sorted(folder.glob(f"*{SUFFIX}"), key=lambda path: (path.stat().st_mtime, path.name))


def clear_away(folder: Path, *, older_than: timedelta, now: datetime) -> list[Path]:
    """Remove backups older than that, never the newest, and files that were never finished."""
    aged = [path for path in backups_of(folder)[:-1] if _age(path, now) > older_than]
    abandoned = [
        path for path in folder.glob(f"*{UNFINISHED}") if _age(path, now) > ABANDONED_AFTER
    ]
    for path in [*aged, *abandoned]:
        path.unlink(missing_ok=True)
    return aged


@contextmanager
def written_whole(target: Path) -> Iterator[BinaryIO]:
    """A file that appears under its name only when all of it is safely on the disk.

    Readable by this user alone. Raises CannotWrite, and then leaves nothing behind.
    """
    try:
        if target.exists():
            raise FileExistsError(errno.EEXIST, "there is a file of that name")
        with _beside(target) as (file, unfinished):
            yield file
            file.flush()
            os.fsync(file.fileno())
            unfinished.rename(target)
            _settle(target.parent)
    except OSError as error:
        raise CannotWrite(
            error.strerror or type(error).__name__, is_full=error.errno in FULL
        ) from error


@contextmanager
def _beside(target: Path) -> Iterator[tuple[BinaryIO, Path]]:
    handle, name = tempfile.mkstemp(prefix=".", suffix=UNFINISHED, dir=target.parent)
    try:
        with os.fdopen(handle, "w+b") as file:
            yield file, Path(name)
    finally:
        with suppress(FileNotFoundError):
            os.unlink(name)


def _settle(folder: Path) -> None:
    """Make the folder's new entry survive a power cut."""
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _age(path: Path, now: datetime) -> timedelta:
    return now - datetime.fromtimestamp(path.stat().st_mtime, now.tzinfo)
