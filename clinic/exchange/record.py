"""What leaves the practice, for whoever hands it out: FHIR R4 bundles and girths as CSV.

Nothing here is logged: the caller says who took it (`exchange.services`).
"""

from collections.abc import Iterator

from clinic.clients.models import Client
from clinic.exchange.fhir.bundle import bundle_json
from clinic.exchange.girths_out import girth_lines
from clinic.exchange.selectors.gathering import all_rows, rows_of


def client_bundle(client: Client) -> bytes:
    """One client's record as a FHIR R4 Bundle: one line of JSON. A fixed number of queries."""
    (rows,) = rows_of([client.pk])
    return bundle_json(rows).encode()


def every_bundle() -> Iterator[bytes]:
    """Every client's record, a Bundle a line (NDJSON), with some clients in memory at a time."""
    for rows in all_rows():
        yield bundle_json(rows).encode() + b"\n"


def girths_csv(client: Client) -> Iterator[str]:
    """One client's girths in the columns that the girth import reads. Header first."""
    return girth_lines(client=client)


def every_girth_csv() -> Iterator[str]:
    """Everybody's girths in the same columns after the record number. Header first."""
    return girth_lines()
