"""Restores a backup into an empty database and proves that it is the same."""

from collections.abc import Callable, Iterable
from io import StringIO
from pathlib import Path
from typing import Any

from django.core.management import call_command, get_commands
from django.db import connection
from django.db.migrations.executor import MigrationExecutor
from django.db.models import Model
from psycopg import Connection, sql

from clinic.accounts.models import User
from clinic.audit.models import Entry
from clinic.clients.models import Client, Referrer
from clinic.keeping import tables
from clinic.keeping.backup_errors import (
    NewerSchema,
    NotAsSigned,
    NotEmpty,
    NotTheSame,
    OtherColumns,
)
from clinic.keeping.backup_format import BackupReader, Head, Table, Trailer
from clinic.keeping.databases import name_of_database, writing
from clinic.keeping.services.backup import Backup, opened, read_backup

# A database with one of these is somebody's.
HOLDING: dict[type[Model], str] = {
    User: "staff accounts",
    Client: "clients",
    Referrer: "referrers",
    Entry: "a record of who looked at or changed what",
}

Say = Callable[[str], None]
Migration = tuple[str, str]

# Commands of the apps that check what was signed or recorded; those not there yet are passed over.
CHECKS = ("verify_notes", "verify_record")


def restore_backup(*, path: Path, passphrase: str, say: Say) -> Backup:
    """Fill the empty database of this process from a backup, or leave it empty.

    The schema is brought to the backup's own state, so an older backup fits too; `migrate` brings
    it up to date afterwards. The rows go in within one transaction, and only when every count, hash
    and sequence of the database is that of the backup is it kept.

    Raises CannotRead, NotABackup, NewerFormat, WrongPassphrase, Damaged, NewerSchema, NotEmpty,
    OtherColumns, NotTheSame.
    """
    say("Reading the backup through ...")
    backup = read_backup(path=path, passphrase=passphrase)
    _check_empty(backup.head)
    say(f"Preparing the schema of {backup.head.made_at} ...")
    _migrate_to(backup.head)
    with opened(path) as file, writing() as database:
        say(f"Restoring into {name_of_database()} ...")
        _fill(database, BackupReader(file, passphrase))
        say("Comparing ...")
        _prove(database, backup.trailer)
    return backup


def check_restored(*, say: Say) -> None:
    """Run the record's own checks over the database. Raises NotAsSigned.

    They read today's schema: of an earlier one they are run after `migrate`.
    """
    if _is_behind():
        say(f"An earlier schema: run migrate, rebuild_standings, {' and '.join(CHECKS)}.")
        return
    for name in (check for check in CHECKS if check in get_commands()):
        told = StringIO()
        try:
            call_command(name, stdout=told, stderr=told)
        except SystemExit as ended:
            if ended.code:
                raise NotAsSigned(name) from ended
        say(f"{name}: {told.getvalue().strip().splitlines()[-1]}")


def _is_behind() -> bool:
    executor = MigrationExecutor(connection)
    return bool(executor.migration_plan(executor.loader.graph.leaf_nodes()))


# Before


def _check_empty(head: Head) -> None:
    """Nobody's records are there, and no schema later than the backup's."""
    there = set(connection.introspection.table_names())
    if not there:
        return
    if "django_migrations" not in there:
        raise NotEmpty("tables that are not this app's")
    if set(MigrationExecutor(connection).loader.applied_migrations) - set(head.migrations):
        raise NotEmpty("a later schema than the backup's")
    for kind, words in HOLDING.items():
        if kind._meta.db_table in there and kind._default_manager.order_by().exists():
            raise NotEmpty(words)


def _migrate_to(head: Head) -> None:
    """Bring the schema to exactly the state of the backup. Raises NewerSchema."""
    executor = MigrationExecutor(connection)
    known = executor.loader.graph.nodes
    unknown = [f"{app}.{name}" for app, name in head.migrations if (app, name) not in known]
    if unknown:
        raise NewerSchema(unknown)
    executor.migrate(_latest(executor, set(head.migrations)))
    connection.close()


def _latest(executor: MigrationExecutor, applied: set[Migration]) -> list[Migration]:
    """The last of each app: naming an earlier one as a target would undo those after it."""
    nodes = executor.loader.graph.node_map
    return [
        one
        for one in sorted(applied)
        if not any(child.key[0] == one[0] and child.key in applied for child in nodes[one].children)
    ]


# The rows


def _fill(database: Connection[Any], reader: BackupReader) -> None:
    there = {table.name: table for table in tables.tables(database)}
    _switch_triggers(database, there, on=False)
    _empty(database, there)  # of what the migrations put in
    for table, texts in reader.tables():
        if there.get(table.name) != table:
            raise OtherColumns(table.name)
        tables.fill(database, table, texts)
    for standing in reader.trailer().sequences:
        tables.set_sequence(database, standing)
    # References are checked at the end of a transaction; triggers cannot be switched before.
    database.execute("SET CONSTRAINTS ALL IMMEDIATE")
    _switch_triggers(database, there, on=True)


def _switch_triggers(database: Connection[Any], names: Iterable[str], *, on: bool) -> None:
    """The kept tables refuse what a restore does; references between tables stay checked."""
    action = sql.SQL("ENABLE" if on else "DISABLE")
    for name in names:
        statement = sql.SQL("ALTER TABLE {} {} TRIGGER USER").format(sql.Identifier(name), action)
        database.execute(statement)


def _empty(database: Connection[Any], names: Iterable[str]) -> None:
    listed = sql.SQL(", ").join(sql.Identifier(name) for name in names)
    database.execute(sql.SQL("TRUNCATE {}").format(listed))


def _prove(database: Connection[Any], trailer: Trailer) -> None:
    """Read every kept table and sequence back and compare. Raises NotTheSame."""
    kept: list[Table] = tables.kept_tables(database)
    found = tables.contents(database, kept)
    differing = {
        name
        for name in found.keys() | trailer.tables.keys()
        if found.get(name) != trailer.tables.get(name)
    }
    standing = set(tables.sequences(database)) ^ set(trailer.sequences)
    differing |= {sequence.name for sequence in standing}
    if differing:
        raise NotTheSame(sorted(differing))
