"""Whole databases beside the tests' own: empty ones, and those of earlier releases."""

import gzip
import secrets
import subprocess
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
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


@dataclass(frozen=True)
class Upgraded:
    """The database of an earlier release in the schema of today, and its rows before, by table."""

    name: str
    before: dict[str, int]


UpgradedFrom = Callable[[str], Upgraded]


@contextmanager
def upgrades() -> Iterator[UpgradedFrom]:
    """Upgrades each release once, for tests that leave the database as it is."""
    made: dict[str, Upgraded] = {}
    with ExitStack() as kept:

        def upgraded_from(release: str) -> Upgraded:
            if release not in made:
                name = kept.enter_context(database_of(release))
                with working_in(name):
                    before = counts()
                    call_command("migrate", verbosity=0)
                made[release] = Upgraded(name, before)
            return made[release]

        yield upgraded_from


def counts() -> dict[str, int]:
    """Rows of every table, as the server counts them."""
    with connection.cursor() as cursor:
        tables = connection.introspection.table_names(cursor)
        found = {}
        for table in tables:
            cursor.execute(f'SELECT count(*) FROM "{table}"')
            found[table] = cursor.fetchone()[0]
    return found


@contextmanager
def migrated_database() -> Iterator[str]:
    """A database with today's schema and what its migrations put in, and nobody's records."""
    connection.close()
    template = str(connection.settings_dict["NAME"])
    # Once the browser's event loop runs, Django opens a second connection and leaves the first.
    sessions = f"FROM pg_stat_activity WHERE datname = '{template}' AND usename = current_user"
    query("postgres", f"SELECT pg_terminate_backend(pid) {sessions}")
    with empty_database(template=template) as name:
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
