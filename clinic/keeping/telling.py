"""What the commands of keeping have in common: a sentence for each refusal, a line for a find."""

from collections.abc import Iterator
from contextlib import contextmanager

import psycopg
from django.core.management.base import CommandError
from django.db import DatabaseError

from clinic.keeping.backup_errors import BackupRefused
from clinic.keeping.sentences import sentence
from clinic.keeping.services.backup import Backup


@contextmanager
def refusing_in_words() -> Iterator[None]:
    """A refusal ends the command with its sentence; a database's own words may quote a record."""
    try:
        yield
    except BackupRefused as error:
        raise CommandError(sentence(error)) from None
    except (psycopg.Error, DatabaseError) as error:
        raise CommandError(
            f"The database could not be reached or refused ({type(error).__name__}). Nothing was"
            " kept; its own log says more."
        ) from None


def told(backup: Backup) -> str:
    """One line about a backup."""
    tables = backup.trailer.tables
    return (
        f"made {backup.head.made_at} by release {backup.head.release}: {backup.trailer.rows:,} rows"
        f" in {len(tables)} tables, {backup.byte_count:,} bytes"
    )


def told_tables(backup: Backup) -> str:
    """A line for each table: rows, hash, name."""
    return "\n".join(
        f"{content.rows:>10}  {content.sha256[:16]}  {name}"
        for name, content in sorted(backup.trailer.tables.items())
    )
