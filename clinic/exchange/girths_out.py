"""Girths as CSV, in the very columns that the import of past sessions reads."""

import csv
from collections.abc import Iterable, Iterator
from io import StringIO
from typing import Any
from uuid import UUID

from clinic.clients.models import Client
from clinic.common.csv_files import SIGNATURE, harmless
from clinic.exchange.selectors.gathering import chunks_of_clients
from measurements.csv_rows import COLUMNS
from measurements.models import GirthReading

RECORD_NUMBER = "record_number"
# Clients whose girths are read with one query.
CHUNK = 100

FIELDS = (
    "session__episode__client__record_number",
    "session__taken_on",
    "session__taken_at",
    "session__round",
    "session__limb",
    "side",
    "level_cm",
    "trial",
    "girth_cm",
    "session__weight_kg",
    "session__posture",
    "session__protocol__name",
    "session__note",
)
ORDER = (
    "session__episode__client__record_number",
    "session__taken_on",
    "session__taken_at",
    "session__round",
    "session_id",
    "-side",
    "level_cm",
    "trial",
)


def girth_lines(*, client: Client | None = None) -> Iterator[str]:
    """A header, then a line for each girth of every session that stands. One query a chunk.

    Without a client: everybody's, the record number first.
    """
    first = [] if client else [RECORD_NUMBER]
    yield SIGNATURE + _line([*first, *(column.name for column in COLUMNS)])
    chunks: Iterable[list[UUID]] = [[client.pk]] if client else chunks_of_clients(CHUNK)
    for keys in chunks:
        for row in _rows(keys):
            yield _line([_cell(value) for value in (row[1:] if client else row)])


def _rows(keys: list[UUID]) -> Iterator[tuple[Any, ...]]:
    found = GirthReading.objects.filter(
        session__episode__client_id__in=keys, session__struck_at__isnull=True
    )
    yield from found.order_by(*ORDER).values_list(*FIELDS)


def _cell(value: object) -> str:
    """A value as the import reads it; text that a spreadsheet could run is made harmless."""
    return "" if value is None else harmless(str(value))


def _line(cells: list[str]) -> str:
    out = StringIO()
    csv.writer(out).writerow(cells)
    return out.getvalue()
