"""Whole databases beside the tests' own: empty ones, and those of earlier releases."""

import gzip
import secrets
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import psycopg
from django.core.management import call_command
from django.db import connection

from clinic.keeping.databases import working_in
from clinic.trial_database import binaries

FOLDER = Path(__file__).parents[2] / "releases"
RELEASES = sorted(path.name.removesuffix(".sql.gz") for path in FOLDER.glob("*.sql.gz"))


@contextmanager
def empty_database(*, template: str = "template0") -> Iterator[str]:
    """A database of the tests' server, dropped at the end."""
    name = f"kept_{secrets.token_hex(4)}"
    _on_the_server(f"CREATE DATABASE {name} TEMPLATE {template}")
    try:
        yield name
    finally:
        _on_the_server(f"DROP DATABASE {name} WITH (FORCE)")


@contextmanager
def database_of(release: str) -> Iterator[str]:
    """The database of an earlier release, as it left it."""
    with empty_database() as name:
        load(release, name)
        yield name


@contextmanager
def clinic_of_today() -> Iterator[str]:
    """The invented clinic of the first release, in the schema of today."""
    with database_of(RELEASES[0]) as name:
        with working_in(name):
            call_command("migrate", verbosity=0)
        yield name


@contextmanager
def migrated_database() -> Iterator[str]:
    """A database with today's schema and what its migrations put in, and nobody's records."""
    connection.close()
    with empty_database(template=str(connection.settings_dict["NAME"])) as name:
        yield name


def load(release: str, name: str) -> None:
    dump = gzip.decompress((FOLDER / f"{release}.sql.gz").read_bytes())
    run("psql", "-Xq", "-v", "ON_ERROR_STOP=1", "-d", name, given=dump)


def run(program: str, *arguments: str, given: bytes = b"") -> bytes:
    """One of PostgreSQL's own programs, against the tests' server."""
    settings = connection.settings_dict
    server = ["-h", settings["HOST"], "-p", settings["PORT"], "-U", settings["USER"]]
    ran = subprocess.run(
        [binaries() / program, *server, *arguments], input=given, capture_output=True, check=False
    )
    assert ran.returncode == 0, ran.stderr.decode()
    return ran.stdout


def query(name: str, statement: str) -> list[tuple[Any, ...]]:
    parameters = connection.get_connection_params() | {"dbname": name}
    with psycopg.connect(**parameters, autocommit=True) as database:
        cursor = database.execute(statement)
        return cursor.fetchall() if cursor.description else []


def _on_the_server(statement: str) -> None:
    query("postgres", statement)
