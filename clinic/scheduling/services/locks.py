"""Locks on therapists, rooms and clients, so that two bookers of one slot take turns.

The exclusion constraints alone are enough for the truth but not for speed: many writers that wait
on one another's rows dead-lock. Everybody takes these locks first and in one order.
"""

from collections.abc import Iterable
from uuid import UUID

from django.db import connection

THERAPIST, ROOM, CLIENT = 55_451, 55_452, 55_453  # first keys, by the number of the RFC
LARGEST = 2**31

TAKE = """
SELECT pg_advisory_xact_lock(kind, number)
FROM unnest(%s::int[], %s::int[]) AS taken(kind, number)
"""


def take_turns(
    *,
    therapist_ids: Iterable[int],
    room_ids: Iterable[int | None] = (),
    client_ids: Iterable[UUID] = (),
) -> None:
    """Hold the named therapists, rooms and clients until the transaction ends."""
    keys = {(THERAPIST, number % LARGEST) for number in therapist_ids}
    keys |= {(ROOM, number % LARGEST) for number in room_ids if number is not None}
    keys |= {(CLIENT, client_id.int % LARGEST) for client_id in client_ids}
    kinds, numbers = zip(*sorted(keys), strict=True)
    with connection.cursor() as cursor:
        cursor.execute(TAKE, [list(kinds), list(numbers)])
