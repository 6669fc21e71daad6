"""Connections for work on a whole database, and scratch databases for drills."""

import secrets
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from typing import Any

import psycopg
from django.conf import settings
from django.db import connection
from psycopg import Connection, IsolationLevel, sql

from clinic.keeping.tables import PLAIN_TEXT

# In the name of a drill's database, after that of the app's own.
SCRATCH = "_drill_"
ABANDONED = """
SELECT datname FROM pg_database d
 WHERE starts_with(datname, %s) AND pg_has_role(datdba, 'USAGE')
   AND NOT EXISTS (SELECT FROM pg_stat_activity a WHERE a.datid = d.oid)
"""


@contextmanager
def reading() -> Iterator[Connection[Any]]:
    """One moment of the database: nothing that others write meanwhile is seen."""
    with psycopg.connect(**connection.get_connection_params()) as database:
        database.isolation_level = IsolationLevel.REPEATABLE_READ
        database.read_only = True
        _plainly(database)
        yield database


@contextmanager
def writing() -> Iterator[Connection[Any]]:
    """One transaction of its own: all of it is kept, or nothing."""
    with psycopg.connect(**connection.get_connection_params()) as database:
        _plainly(database)
        yield database


def name_of_database() -> str:
    """The database that this process works in, as a person is told it."""
    used = connection.settings_dict
    if SCRATCH in used["NAME"]:
        return f"the scratch database {used['NAME']}"
    if settings.IS_TRIAL:
        return "the trial's own database (no DATABASE_URL is set)"
    return f"the database {used['NAME']} on {used['HOST'] or 'this machine'}"


@contextmanager
def scratch_database() -> Iterator[str]:
    """An empty database beside the app's own, dropped at the end. Needs the right CREATEDB.

    A drill that was killed left its own behind, with everybody's records in it: that goes first.
    """
    prefix = f"{connection.settings_dict['NAME']}{SCRATCH}"
    _drop_abandoned(prefix)
    name = f"{prefix}{secrets.token_hex(4)}"
    named = sql.Identifier(name)
    _on_the_server(sql.SQL("CREATE DATABASE {} TEMPLATE template0").format(named))
    try:
        with psycopg.connect(**connection.get_connection_params() | {"dbname": name}):
            yield name  # in use until here, so that no other drill takes it for abandoned
    finally:
        _on_the_server(sql.SQL("DROP DATABASE IF EXISTS {} WITH (FORCE)").format(named))


@contextmanager
def working_in(name: str) -> Iterator[None]:
    """Let the whole app of this process work in another database of the same server."""
    usual = connection.settings_dict["NAME"]
    connection.close()
    connection.settings_dict["NAME"] = name
    try:
        yield
    finally:
        connection.close()
        connection.settings_dict["NAME"] = usual


def _drop_abandoned(prefix: str) -> None:
    """Databases of drills to which nobody is connected any more."""
    with psycopg.connect(**connection.get_connection_params(), autocommit=True) as database:
        for (name,) in database.execute(ABANDONED, [prefix]).fetchall():
            with suppress(psycopg.errors.ObjectInUse, psycopg.errors.InvalidCatalogName):
                database.execute(sql.SQL("DROP DATABASE {}").format(sql.Identifier(name)))


def _plainly(database: Connection[Any]) -> None:
    for statement in PLAIN_TEXT:
        database.execute(statement)


def _on_the_server(statement: sql.Composed) -> None:
    with psycopg.connect(**connection.get_connection_params(), autocommit=True) as database:
        database.execute(statement)
