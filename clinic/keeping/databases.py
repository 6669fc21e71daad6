"""Connections for work on a whole database, and scratch databases for drills."""

import secrets
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import psycopg
from django.db import connection
from psycopg import Connection, IsolationLevel, sql

from clinic.keeping.tables import PLAIN_TEXT


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


@contextmanager
def scratch_database() -> Iterator[str]:
    """An empty database beside the app's own, dropped at the end. Needs the right CREATEDB."""
    name = f"{connection.settings_dict['NAME']}_drill_{secrets.token_hex(4)}"
    named = sql.Identifier(name)
    _on_the_server(sql.SQL("CREATE DATABASE {} TEMPLATE template0").format(named))
    try:
        yield name
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


def _plainly(database: Connection[Any]) -> None:
    for statement in PLAIN_TEXT:
        database.execute(statement)


def _on_the_server(statement: sql.Composed) -> None:
    with psycopg.connect(**connection.get_connection_params(), autocommit=True) as database:
        database.execute(statement)
