"""Who fits a time that came free, and why; offers; one click to book."""

from datetime import UTC, date, datetime, time
from typing import Any
from uuid import uuid4

import pytest
from django.test import Client as Browser
from django.urls import reverse
from django.utils import timezone

from clinic.audit.models import Entry
from clinic.clients.models import Client
from clinic.scheduling.models import Appointment, WaitListEntry, WaitListOffer
from clinic.scheduling.ranges import zone
from clinic.scheduling.selectors.waiting import free_time, free_times
from clinic.scheduling.spans import lasting, span
from clinic.scheduling.states import CancelReason, Status
from clinic.scheduling.waiting import (
    Match,
    Misfit,
    Opening,
    Waiting,
    Why,
    WhyNot,
    judged,
    sorted_out,
)
from clinic.scheduling.words import Urgency
from tests.builders import make_client
from tests.cast import Cast
from tests.clinic.scheduling.desk import make_hours, make_room
from tests.clinic.scheduling.desk_stories import days, kind, make_appointment, today

TUESDAY = date(2026, 3, 3)


def opening(minutes: int = 60) -> Opening:
    return Opening(span(TUESDAY, time(10), minutes=minutes, zone=zone()), therapist_id=7)


def waiting(**differences: Any) -> Waiting:
    values = {
        "entry_id": 1,
        "client_id": uuid4(),
        "minutes": 60,
        "joined_at": datetime(2026, 2, 1, tzinfo=UTC),
    }
    return Waiting(**values | differences)


@pytest.mark.parametrize(
    ("differences", "why_not"),
    [
        ({"minutes": 75}, WhyNot.TOO_LONG),
        ({"therapist_id": 8}, WhyNot.OTHER_THERAPIST),
        ({"weekdays": frozenset({0, 2})}, WhyNot.OTHER_DAY),
        ({"from_on": date(2026, 3, 4)}, WhyNot.OTHER_DAY),
        ({"until_on": date(2026, 3, 2)}, WhyNot.OTHER_DAY),
        ({"from_time": time(10, 15)}, WhyNot.OTHER_HOUR),
        ({"to_time": time(10, 59)}, WhyNot.OTHER_HOUR),
        ({"busy": [span(TUESDAY, time(10, 45), minutes=30, zone=zone())]}, WhyNot.HAS_APPOINTMENT),
        ({"has_declined": True}, WhyNot.SAID_NO),
    ],
)
def test_who_does_not_fit_is_told_why(differences: dict[str, Any], why_not: WhyNot) -> None:
    found = judged(opening(), waiting(**differences), zone())
    assert isinstance(found, Misfit)
    assert found.why_not is why_not


def test_who_fits_is_told_why() -> None:
    wish = waiting(
        therapist_id=7, weekdays=frozenset({1}), from_time=time(10), to_time=time(11),
        urgency=Urgency.FIRST,
    )  # fmt: skip
    found = judged(opening(), wish, zone())
    assert isinstance(found, Match)
    assert found.why == (Why.URGENT, Why.ASKED_FOR, Why.THIS_DAY, Why.THIS_HOUR, Why.FILLS_IT)


def test_a_short_visit_takes_the_part_of_the_time_that_suits() -> None:
    found = judged(opening(90), waiting(minutes=30, from_time=time(10, 40)), zone())
    assert isinstance(found, Match)
    assert found.span == span(TUESDAY, time(10, 40), minutes=30, zone=zone())
    assert Why.FILLS_IT not in found.why


def test_an_appointment_that_only_touches_the_time_is_no_obstacle() -> None:
    before = lasting(opening().span.starts_at, -30)
    near = [lasting(before.ends_at, 30)]
    assert isinstance(judged(opening(), waiting(busy=near), zone()), Match)


def test_urgency_comes_first_then_the_wish_for_the_therapist_then_the_longest_wait() -> None:
    early, late = datetime(2026, 1, 1, tzinfo=UTC), datetime(2026, 2, 1, tzinfo=UTC)
    people = [
        waiting(entry_id=1, joined_at=early),
        waiting(entry_id=2, joined_at=late, therapist_id=7),
        waiting(entry_id=3, joined_at=late, urgency=Urgency.SOON),
        waiting(entry_id=4, joined_at=late, urgency=Urgency.FIRST),
        waiting(entry_id=5, joined_at=late),
    ]
    matches, _ = sorted_out(opening(), people, zone())
    assert [match.waiting.entry_id for match in matches] == [4, 3, 2, 1, 5]


# Over the database


@pytest.fixture
def person(cast: Cast) -> Client:
    return make_client(phone="555-0142")


@pytest.fixture
def freed(cast: Cast) -> Appointment:
    make_hours(cast.therapist, weekdays=range(7))
    return make_appointment(
        make_client(family_name="Brook"),
        cast.therapist,
        today() + days(2),
        time(10),
        status=Status.CANCELLED_EARLY,
        room=make_room(),
    )


def make_entry(client: Client, cast: Cast, **differences: Any) -> WaitListEntry:
    values = {"client": client, "kind": kind(), "minutes": 60, "joined_by": cast.front_desk}
    return WaitListEntry.objects.create(**values | differences)


def answer_url(freed: Appointment, entry: WaitListEntry) -> str:
    return reverse("wait-list-answer", args=[freed.pk, entry.pk])


def test_a_cancelled_time_is_offered_until_it_is_taken_again(
    cast: Cast, person: Client, freed: Appointment
) -> None:
    make_entry(person, cast)
    (found,) = free_times(cast.front_desk, now=timezone.now())
    assert [fit.entry.client_id for fit in found.fitting] == [person.pk]
    make_appointment(make_client(), cast.therapist, today() + days(2), time(10, 30))
    assert free_times(cast.front_desk, now=timezone.now()) == []


def test_who_gave_a_time_back_is_not_offered_it(cast: Cast, freed: Appointment) -> None:
    make_entry(freed.client, cast)
    found = free_time(freed, cast.front_desk)
    assert (list(found.fitting), list(found.not_fitting)) == ([], [])


def test_a_time_gone_by_is_no_longer_offered(cast: Cast, person: Client) -> None:
    make_appointment(person, cast.therapist, today() - days(1), status=Status.NO_SHOW)
    assert free_times(cast.front_desk, now=timezone.now()) == []


def test_a_time_the_practice_itself_cancelled_is_not_offered(cast: Cast, person: Client) -> None:
    make_appointment(
        person, cast.therapist, today() + days(1),
        status=Status.CANCELLED_EARLY, cancel_reason=CancelReason.STAFF,
    )  # fmt: skip
    assert free_times(cast.front_desk, now=timezone.now()) == []


def test_a_time_outside_the_hours_is_booked_by_hand_only(
    desk: Browser, cast: Cast, person: Client, freed: Appointment
) -> None:
    cast.therapist.working_hours.all().delete()
    entry = make_entry(person, cast)
    answer = desk.post(answer_url(freed, entry), {"answer": "taken"}, follow=True)
    assert "Not booked: outside the therapist" in answer.content.decode()
    assert not Appointment.objects.filter(client=person).exists()


def test_the_number_of_queries_does_not_grow_with_the_list(
    cast: Cast, freed: Appointment, django_assert_max_num_queries: Any
) -> None:
    for number in range(8):
        client = make_client(family_name=f"Family{number}")
        make_entry(client, cast)
        make_appointment(
            client, cast.other_therapist, today() + days(3), time(8 + number),
            status=Status.CANCELLED_EARLY,
        )  # fmt: skip
    with django_assert_max_num_queries(5):
        assert len(free_times(cast.front_desk, now=timezone.now())) == 9


def test_one_click_books_closes_the_entry_and_keeps_the_offer(
    desk: Browser, cast: Cast, person: Client, freed: Appointment
) -> None:
    entry = make_entry(person, cast, note="call first")
    page = desk.get(reverse("wait-list-opening", args=[freed.pk])).content.decode()
    assert "any therapist will do" in page
    desk.post(answer_url(freed, entry), {"answer": "taken"})
    made = Appointment.objects.get(client=person)
    assert (made.therapist, made.room, made.period) == (freed.therapist, freed.room, freed.period)
    entry.refresh_from_db()
    assert (entry.closed_reason, entry.offers.get().answer) == (
        "booked from the wait list",
        "taken",
    )
    verbs = Entry.objects.filter(client=person).values_list("verb", flat=True)
    assert set(verbs) == {"appointment.booked", "wait_list.offered"}


def test_a_time_taken_meanwhile_is_told_and_nobody_leaves_the_list(
    desk: Browser, cast: Cast, person: Client, freed: Appointment
) -> None:
    entry = make_entry(person, cast)
    make_appointment(make_client(), cast.therapist, today() + days(2), time(10))
    answer = desk.post(answer_url(freed, entry), {"answer": "taken"}, follow=True)
    assert "Nothing is saved" in answer.content.decode()
    entry.refresh_from_db()
    assert entry.closed_at is None
    assert not WaitListOffer.objects.exists()


def test_who_declined_is_not_asked_again_for_that_time_and_the_log_says_so(
    desk: Browser, cast: Cast, person: Client, freed: Appointment
) -> None:
    entry = make_entry(person, cast)
    desk.post(answer_url(freed, entry), {"answer": "unreached"})
    assert free_time(freed, cast.front_desk).fitting
    page = desk.post(answer_url(freed, entry), {"answer": "declined"}, follow=True)
    found = free_time(freed, cast.front_desk)
    assert [one.misfit.why_not for one in found.not_fitting] == [WhyNot.SAID_NO]
    assert "not reached" in page.content.decode()
    assert desk.post(answer_url(freed, entry), {"answer": "maybe"}).status_code == 400


def test_booking_twice_from_one_entry_is_refused(
    desk: Browser, cast: Cast, person: Client, freed: Appointment
) -> None:
    entry = make_entry(person, cast)
    desk.post(answer_url(freed, entry), {"answer": "taken"})
    desk.post(answer_url(freed, entry), {"answer": "taken"})
    assert Appointment.objects.filter(client=person).count() == 1


# The pages


def test_a_client_joins_with_days_and_hours(desk: Browser, cast: Cast, person: Client) -> None:
    url = reverse("wait-list-join", args=[person.pk])
    assert desk.get(url).status_code == 200
    typed = {
        "kind": kind().pk,
        "urgency": "soon",
        "weekdays": ["1", "3"],
        "from_time": "9 am",
        "to_time": "12:00",
        "note": "call first",
    }
    refused = desk.post(url, typed | {"to_time": "08:00"}).content.decode()
    assert "must come after" in refused
    assert "call first" in refused
    desk.post(url, typed)
    kept = WaitListEntry.objects.get()
    assert (kept.weekdays, kept.minutes, kept.from_time) == ([1, 3], kind().minutes, time(9))
    page = desk.get(reverse("wait-list")).content.decode()
    assert "Tue, Thu, 09:00–12:00" in page


def test_leaving_needs_a_reason(desk: Browser, cast: Cast, person: Client) -> None:
    entry = make_entry(person, cast)
    url = reverse("wait-list-leave", args=[entry.pk])
    assert "required" in desk.post(url, {"reason": ""}).content.decode()
    desk.post(url, {"reason": "moved away"})
    assert WaitListEntry.objects.get().closed_reason == "moved away"
    assert "no longer on the wait list" in desk.post(url, {"reason": "again"}).content.decode()


def test_an_appointment_that_holds_its_time_has_no_opening(desk: Browser, cast: Cast) -> None:
    held = make_appointment(make_client(), cast.therapist, today() + days(1))
    assert desk.get(reverse("wait-list-opening", args=[held.pk])).status_code == 404
