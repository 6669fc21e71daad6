"""Writes a backup, and reads one through to see that it is whole."""

import os
import tomllib
from collections.abc import Generator, Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, BinaryIO

from django.conf import settings
from psycopg import Connection

from clinic.keeping import tables
from clinic.keeping.backup_errors import CannotRead, Damaged
from clinic.keeping.backup_format import BackupReader, BackupWriter, Head, Table, Trailer
from clinic.keeping.databases import reading
from clinic.keeping.files import written_whole

APPLIED = "SELECT app, name FROM django_migrations ORDER BY id"


@dataclass(frozen=True)
class Backup:
    """A backup that was written or read through, and what it holds."""

    path: Path
    head: Head
    trailer: Trailer
    byte_count: int

    @property
    def made_at(self) -> datetime:
        return datetime.fromisoformat(self.head.made_at)


def write_backup(*, target: Path, passphrase: str) -> Backup:
    """Write all records of this moment to `target`, sealed, and read them back from the disk.

    Raises CannotWrite (disk full, no right, a file of that name) and leaves no half file behind;
    Damaged when what lies on the disk is not what was written.
    """
    with written_whole(target) as file, reading() as database:
        head = _head(database)
        trailer = _write(file, passphrase, head, database)
        _let_go(file)
        file.seek(0)
        if _read(file, passphrase) != (head, trailer):
            raise Damaged
        return Backup(target, head, trailer, file.tell())


def read_backup(*, path: Path, passphrase: str) -> Backup:
    """Read a backup through to its end, every chunk, count and hash; no database is needed.

    Raises CannotRead, NotABackup, NewerFormat, WrongPassphrase, Damaged.
    """
    with opened(path) as file:
        head, trailer = _read(file, passphrase)
        return Backup(path, head, trailer, file.tell())


@contextmanager
def opened(path: Path) -> Iterator[BinaryIO]:
    """The file for reading. Raises CannotRead with the system's word, also half way through."""
    try:
        with path.open("rb") as file:
            yield file
    except OSError as error:
        raise CannotRead(error.strerror or "") from error


def _head(database: Connection[Any]) -> Head:
    return Head(
        made_at=datetime.now(UTC).isoformat(timespec="seconds"),
        release=_release(),
        migrations=tuple(database.execute(APPLIED).fetchall()),
        left_out=tuple(sorted(tables.LEFT_OUT)),
    )


def _release() -> str:
    """The version of the code that runs, which need not be installed as a package."""
    project = tomllib.loads((settings.BASE_DIR / "pyproject.toml").read_text())
    return str(project["project"]["version"])


def _write(file: BinaryIO, passphrase: str, head: Head, database: Connection[Any]) -> Trailer:
    writer = BackupWriter(file, passphrase, head)
    key_of = tables.keys(database)
    for table in tables.kept_tables(database):
        with closing(_rows(database, table, key_of)) as texts:
            writer.table(table, texts)
    return writer.finish(tables.sequences(database))


def _let_go(file: BinaryIO) -> None:
    """Have the system forget what it holds of the file: it is then read from the disk itself."""
    file.flush()
    os.fsync(file.fileno())
    os.posix_fadvise(file.fileno(), 0, 0, os.POSIX_FADV_DONTNEED)


def _rows(
    database: Connection[Any], table: Table, key_of: dict[str, list[tuple[str, bool]]]
) -> Generator[bytes]:
    return tables.rows(database, table, key_of.get(table.name, []))


def _read(file: BinaryIO, passphrase: str) -> tuple[Head, Trailer]:
    reader = BackupReader(file, passphrase)
    for _, texts in reader.tables():
        for _ in texts:
            pass
    return reader.head, reader.trailer()
