"""What the chain costs a write, and how the record is searched and verified when it is large."""

from time import perf_counter

import pytest
from django.db import connection, transaction
from django.test.utils import CaptureQueriesContext

from clinic.audit import services as audit
from clinic.audit.verify import verified
from clinic.common.vocabulary import Role
from clinic.overview.record_search import Asked, Worth, found
from tests.builders import make_client
from tests.cast import make_staff

pytestmark = [pytest.mark.bench, pytest.mark.django_db(transaction=True)]

WRITES, ROUNDS = 200, 3
ENTRIES = 1_000_000
# Entries of a year in one practice, by SQL: the triggers are off, so nothing is chained.
CROWD = """
INSERT INTO audit_entry (at, by_id, verb, client_id, subject, came_from, session_mark)
SELECT now() - n * interval '31 seconds', %s, 'client.opened', %s, '', '192.0.2.7', 'aaaaaaaa'
FROM generate_series(1, %s) AS n
"""


def run(statement: str, *values: object) -> None:
    with connection.cursor() as cursor:
        cursor.execute(statement, values or None)


def seconds_of_writes(by: object) -> float:
    began = perf_counter()
    for _ in range(WRITES):
        with transaction.atomic():
            audit.record(by, "client.opened")  # type: ignore[arg-type]
    return perf_counter() - began


def test_a_chained_entry_costs_at_most_twice_an_unchained_one() -> None:
    by = make_staff("leona", "Leona Vale", Role.CLINIC_LEAD)
    plain, chained = [], []
    for _ in range(ROUNDS):
        chained.append(seconds_of_writes(by))
        run("ALTER TABLE audit_entry DISABLE TRIGGER USER")
        plain.append(seconds_of_writes(by))
        run("ALTER TABLE audit_entry ENABLE TRIGGER USER")
    ratio = min(chained) / min(plain)
    each_ms = 1000 * min(chained) / WRITES
    print(f"\none entry {each_ms:.2f} ms with the chain, {ratio:.2f} times one without")
    assert ratio < 2


def test_a_million_entries_are_searched_by_index() -> None:
    lead = make_staff("leona", "Leona Vale", Role.CLINIC_LEAD)
    person = make_client()
    run("ALTER TABLE audit_entry DISABLE TRIGGER USER")
    run(CROWD, lead.pk, person.pk, ENTRIES)
    run("ALTER TABLE audit_entry ENABLE TRIGGER USER")
    run("ANALYZE audit_entry")
    asked = {
        "everything": (Asked(), 1),
        "page 100": (Asked(), 100),
        "one client": (Asked(client=person.record_number), 1),
        "one person's changes": (Asked(by=lead, action="changes"), 1),
        "outside hours": (Asked(worth=Worth.OUTSIDE_HOURS), 1),
        "never treated": (Asked(worth=Worth.NEVER_TREATED), 1),
    }
    print()
    for name, (wanted, number) in asked.items():
        with CaptureQueriesContext(
            connection,
        ) as queries:
            began = perf_counter()
            found(wanted, user=lead, number=number)
            took_ms = 1000 * (perf_counter() - began)
        print(f"{name}: {took_ms:.0f} ms, {len(queries)} queries")
        assert len(queries) <= 4
        assert took_ms < 3000


def test_the_chain_is_verified_in_a_stream() -> None:
    by = make_staff("leona", "Leona Vale", Role.CLINIC_LEAD)
    with transaction.atomic():
        for _ in range(20):
            audit.record_for_each(by, "client.opened", clients=[make_client().pk] * 500)
    began = perf_counter()
    told = verified()
    took = perf_counter() - began
    print(f"\n{told.links} links in {took:.2f} s, {told.links / took:.0f} a second")
    assert told.is_intact
