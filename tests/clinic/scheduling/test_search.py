"""The quick search finds what a search of every single booking finds."""

from datetime import time, timedelta
from random import Random

import pytest

from clinic.clients.models import Client
from clinic.common.errors import RuleBroken
from clinic.scheduling.ranges import zone
from clinic.scheduling.selectors.agenda import Asked, agenda
from clinic.scheduling.selectors.near import next_free_times
from clinic.scheduling.services import booking as services
from clinic.scheduling.services.booking import Booking
from clinic.scheduling.slots import Wish, next_free
from clinic.scheduling.spans import moment
from tests.builders import make_client
from tests.cast import Cast
from tests.clinic.scheduling.desk import a_monday, make_hours, make_kind, make_room, slot_at


@pytest.fixture
def somebody(cast: Cast) -> Client:
    """A week of bookings strewn over two therapists and two rooms, some of them this client's."""
    dice = Random(20260302)
    people, rooms, client = (
        [cast.therapist, cast.other_therapist],
        [make_room(), make_room()],
        make_client(),
    )
    for person, room in zip(people, rooms, strict=True):
        make_hours(person, room=room)
    for _ in range(120):
        minute = 8 * 60 + 5 * dice.randrange(108)
        slot = slot_at(
            dice.choice(people),
            a_monday() + timedelta(days=dice.randrange(5)),
            f"{minute // 60:02}:{minute % 60:02}",
            minutes=5 * dice.randrange(3, 10),
            room=dice.choice([*rooms, None]),
        )
        who = client if dice.random() < 0.1 else make_client()
        try:
            services.book(
                booking=Booking(who, make_kind()), slot=slot, by=cast.lead, is_deliberate=True
            )
        except RuleBroken:
            continue
    return client


@pytest.mark.parametrize("minutes", [15, 30, 45, 60, 120])
def test_gaps_too_short_to_use_change_no_offer(cast: Cast, somebody: Client, minutes: int) -> None:
    monday, sunday = a_monday(), a_monday() + timedelta(days=6)
    people = [cast.therapist.pk, cast.other_therapist.pk]
    wish = Wish(minutes, moment(monday, time.min, zone()), sunday, people)
    every_booking = agenda(Asked(monday, sunday, people, somebody.pk))
    found = next_free_times(wish, somebody, most=500)
    assert {(one.span, one.place) for one in found} == {
        (one.span, one.place) for one in next_free(every_booking, wish, most=500)
    }
    assert found or minutes > 60
