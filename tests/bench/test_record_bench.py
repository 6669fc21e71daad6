"""What the chain costs a write, and how the record is searched and verified when it is large."""

from time import perf_counter

import pytest
from django.db import connection, transaction
from django.test.utils import CaptureQueriesContext

from clinic.accounts.models import User
from clinic.audit import services as audit
from clinic.audit.verify import verified
from clinic.clients.models import Client
from clinic.common.vocabulary import Role
from clinic.overview.record_search import Asked, Order, Worth, found
from tests.bench.crowd import CLIENTS as CLIENTS_OF_CROWD
from tests.builders import make_client, make_referrer
from tests.cast import make_staff

pytestmark = pytest.mark.bench

WRITES, ROUNDS = 200, 5
ENTRIES = 1_000_000
# So few that each search still finds looks and changes: what was changed is one query more.
FEW, CLIENTS = 20_000, 1_000
MOST_S = 3.0  # a page that searches a year's million of entries; own figure, no source
# Entries of a year in one practice, by SQL: the triggers are off, so nothing is chained.
CROWD = """
INSERT INTO audit_entry (at, by_id, verb, client_id, subject, came_from, session_mark)
SELECT now() - n * interval '31 seconds', (%(people)s::bigint[])[1 + n %% 5],
  CASE WHEN n %% 9 = 0 THEN 'client.edited' ELSE 'client.opened' END,
  (%(clients)s::uuid[])[1 + n %% %(each)s], 'client:' || n, '192.0.2.7', 'aaaaaaaa'
FROM generate_series(%(first)s, %(last)s) AS n
"""


def run(statement: str, values: dict[str, object] | None = None) -> None:
    with connection.cursor() as cursor:
        cursor.execute(statement, values)


def fill(staff: list[User], *, first: int, last: int) -> None:
    """The clients of the crowd looked at and changed by everybody in turn; nothing is chained."""
    clients = Client.objects.order_by("pk").values_list("pk", flat=True)
    values = {"people": [each.pk for each in staff], "clients": list(clients), "each": CLIENTS}
    run("SET CONSTRAINTS ALL IMMEDIATE")  # a table with a check waiting cannot be altered
    run("ALTER TABLE audit_entry DISABLE TRIGGER USER")
    run(CROWD, {**values, "first": first, "last": last})
    run("ANALYZE")


def searched(asked: dict[str, tuple[Asked, int]], lead: User) -> dict[str, tuple[int, float]]:
    """(queries, seconds) of each search."""
    told = {}
    for name, (wanted, number) in asked.items():
        with CaptureQueriesContext(connection) as queries:
            began = perf_counter()
            found(wanted, user=lead, number=number)
            told[name] = len(queries), perf_counter() - began
    return told


def seconds_of_writes(by: User) -> float:
    began = perf_counter()
    for _ in range(WRITES):
        with transaction.atomic():
            audit.record(by, "client.opened")
    return perf_counter() - began


@pytest.mark.django_db(transaction=True)
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


@pytest.mark.django_db
def test_a_million_entries_are_searched_by_index() -> None:
    lead = make_staff("leona", "Leona Vale", Role.CLINIC_LEAD)
    others = [make_staff(f"t{n}", f"Therapist {n}", Role.THERAPIST) for n in range(4)]
    run(CLIENTS_OF_CROWD, {"clients": CLIENTS, "referrer": make_referrer().pk})
    asked = {
        "everything": (Asked(), 1),
        "page 100": (Asked(), 100),
        "oldest first": (Asked(order=Order.OLDEST), 1),
        "one client": (Asked(client="C77"), 1),
        "one person's changes": (Asked(by=others[0], action="changes"), 1),
        "a subject": (Asked(subject="client:1999"), 1),
        "outside hours": (Asked(worth=Worth.OUTSIDE_HOURS), 1),
        "never treated": (Asked(worth=Worth.NEVER_TREATED), 1),
        "many in a day": (Asked(worth=Worth.MANY_IN_A_DAY, many=100), 1),
    }
    fill([lead, *others], first=1, last=FEW)
    few = searched(asked, lead)
    fill([lead, *others], first=FEW + 1, last=ENTRIES)
    many = searched(asked, lead)
    print()
    for name, (queries, took_s) in many.items():
        print(f"{name}: {1000 * took_s:.0f} ms, {queries} queries")
    assert {name: queries for name, (queries, _) in many.items()} == {
        name: queries for name, (queries, _) in few.items()
    }
    assert max(took_s for _, took_s in many.values()) < MOST_S


@pytest.mark.django_db(transaction=True)
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
