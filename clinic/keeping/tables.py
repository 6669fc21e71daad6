"""The tables of a database as PostgreSQL knows them, and their rows as COPY text.

Any table of the schema counts, whoever made it, so nothing new is forgotten.
"""

from collections.abc import Generator, Iterator
from graphlib import TopologicalSorter
from typing import Any

from psycopg import Connection, sql

from clinic.keeping.backup_format import Content, Counting, Sequence, Table

# Rows that are not kept, and why.
LEFT_OUT = {
    "accounts_signedin": "sign-ins: restoring must not let in who was signed in then",
    "django_session": "the same, of the first release",
    "axes_accessattempt": "throttling: wrong passwords count on the server where they were tried",
    "axes_accessfailurelog": "throttling, as above",
    "axes_accesslog": "throttling, as above",
    "axes_accessattemptexpiration": "throttling, as above",
}

# The text of a value depends on these, so both ends set them alike.
PLAIN_TEXT = (
    "SET LOCAL client_encoding = 'UTF8'",
    "SET LOCAL TIME ZONE 'UTC'",
    "SET LOCAL datestyle = 'ISO, YMD'",
    "SET LOCAL intervalstyle = 'postgres'",
    "SET LOCAL bytea_output = 'hex'",
    "SET LOCAL extra_float_digits = 1",
)

# Tables of the schema that no extension owns, with their stored columns (computed ones left out).
COLUMNS = """
SELECT c.relname, a.attname, format_type(a.atttypid, a.atttypmod)
  FROM pg_class c JOIN pg_attribute a ON a.attrelid = c.oid
 WHERE c.relnamespace = current_schema()::regnamespace AND c.relkind = 'r'
   AND a.attnum > 0 AND NOT a.attisdropped AND a.attgenerated = ''
   AND NOT EXISTS (SELECT FROM pg_depend d WHERE d.objid = c.oid AND d.deptype = 'e')
 ORDER BY c.relname COLLATE "C", a.attnum
"""
# Text sorts by the database's own collation, which may differ on the other server.
KEYS = """
SELECT c.relname, a.attname, a.attcollation <> 0
  FROM pg_index i JOIN pg_class c ON c.oid = i.indrelid
  JOIN LATERAL unnest(i.indkey) WITH ORDINALITY AS k(attnum, place) ON true
  JOIN pg_attribute a ON a.attrelid = c.oid AND a.attnum = k.attnum
 WHERE c.relnamespace = current_schema()::regnamespace AND i.indisprimary
 ORDER BY c.relname, k.place
"""
# References that are checked at the end of each statement: their targets must be filled first.
EARLY_REFERENCES = """
SELECT c.relname, t.relname
  FROM pg_constraint f JOIN pg_class c ON c.oid = f.conrelid JOIN pg_class t ON t.oid = f.confrelid
 WHERE c.relnamespace = current_schema()::regnamespace AND f.contype = 'f'
   AND NOT f.condeferrable AND c.oid <> t.oid
"""
SEQUENCES = """
SELECT sequencename FROM pg_sequences
 WHERE schemaname = current_schema() ORDER BY sequencename COLLATE "C"
"""


def tables(database: Connection[Any]) -> list[Table]:
    """Every table with its stored columns, in an order in which they can be filled."""
    found: dict[str, list[tuple[str, str]]] = {}
    for table, column, kind in database.execute(COLUMNS):
        found.setdefault(table, []).append((column, kind))
    waiting: dict[str, set[str]] = {name: set() for name in found}
    for table, target in database.execute(EARLY_REFERENCES):
        waiting[table].add(target)
    order = TopologicalSorter(waiting).static_order()
    return [Table(name, tuple(found[name])) for name in order]


def kept_tables(database: Connection[Any]) -> list[Table]:
    """The tables whose rows belong into a backup."""
    return [table for table in tables(database) if table.name not in LEFT_OUT]


def keys(database: Connection[Any]) -> dict[str, list[tuple[str, bool]]]:
    """The columns of each primary key in their order, and whether one is text."""
    found: dict[str, list[tuple[str, bool]]] = {}
    for table, column, is_text in database.execute(KEYS):
        found.setdefault(table, []).append((column, is_text))
    return found


def rows(database: Connection[Any], table: Table, key: list[tuple[str, bool]]) -> Generator[bytes]:
    """The rows as COPY text in pieces, in the order of the key, wherever they are stored."""
    statement = sql.SQL("COPY (SELECT {} FROM {} t ORDER BY {}) TO STDOUT").format(
        _names(table), sql.Identifier(table.name), _order(key)
    )
    with database.cursor().copy(statement) as copied:
        yield from (bytes(piece) for piece in copied)


def fill(database: Connection[Any], table: Table, texts: Iterator[bytes]) -> None:
    """Put COPY text into a table."""
    statement = sql.SQL("COPY {} ({}) FROM STDIN").format(sql.Identifier(table.name), _names(table))
    with database.cursor().copy(statement) as copied:
        for text in texts:
            copied.write(text)


def contents(database: Connection[Any], of: list[Table]) -> dict[str, Content]:
    """Count and hash of each table, read afresh."""
    key_of = keys(database)
    found = {}
    for table in of:
        counted = Counting()
        for text in rows(database, table, key_of.get(table.name, [])):
            counted.add(text)
        found[table.name] = counted.content
    return found


def sequences(database: Connection[Any]) -> list[Sequence]:
    """Where every sequence stands."""
    names = [name for (name,) in database.execute(SEQUENCES)]
    return [_sequence(database, name) for name in names]


def set_sequence(database: Connection[Any], standing: Sequence) -> None:
    """As far as the transaction is kept: `setval` alone would stay when all else is taken back."""
    name = sql.Identifier(standing.name)
    database.execute(sql.SQL("ALTER SEQUENCE {} RESTART").format(name))
    database.execute(
        "SELECT setval(%s::regclass, %s, %s)",
        [name.as_string(database), standing.last_value, standing.is_called],
    )


def _sequence(database: Connection[Any], name: str) -> Sequence:
    asked = sql.SQL("SELECT last_value, is_called FROM {}").format(sql.Identifier(name))
    row = database.execute(asked).fetchone()
    assert row is not None  # noqa: S101 - a sequence always is one row
    return Sequence(name, *row)


def _names(table: Table) -> sql.Composed:
    return sql.SQL(", ").join(sql.Identifier(name) for name, _ in table.columns)


def _order(key: list[tuple[str, bool]]) -> sql.Composable:
    """By the key; a table without one by its whole rows as text."""
    if not key:
        return sql.SQL('t::text COLLATE "C"')
    plain, text = sql.SQL("{}"), sql.SQL('{} COLLATE "C"')
    return sql.SQL(", ").join(
        (text if is_text else plain).format(sql.Identifier(name)) for name, is_text in key
    )
