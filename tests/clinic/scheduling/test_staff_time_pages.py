"""The clinic lead's pages: hours, absences, closures, rooms, kinds."""

import pytest
from django.test import Client as Browser

from clinic.scheduling.models import Appointment
from clinic.scheduling.staff_time import AppointmentKind, Closure, Room, TimeOff, WorkingHours
from tests.cast import Cast
from tests.clinic.scheduling.desk import (
    a_monday,
    booked,
    make_hours,
    make_room,
    text_of,
)


@pytest.fixture
def made(cast: Cast) -> Appointment:
    make_hours(cast.therapist)
    return booked(cast.therapist, a_monday(), "09:00")


def hours_answers(**differences: str) -> dict[str, str]:
    empty = {
        f"{name}_{day}_{part}": ""
        for name in ("from", "to", "room")
        for day in range(7)
        for part in range(2)
    }
    return empty | differences


def test_working_hours_are_replaced(lead: Browser, cast: Cast) -> None:
    make_hours(cast.therapist)
    typed = hours_answers(from_0_0="8", to_0_0="12:30", from_0_1="1 pm", to_0_1="5 pm")
    assert lead.post(f"/staff-time/hours/{cast.therapist.pk}/", typed).status_code == 302
    found = [str(one) for one in WorkingHours.objects.all()]
    assert found == ["0 08:00-12:30", "0 13:00-17:00"]


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ({"from_0_0": "9", "to_0_0": ""}, "Fill in both times, or neither."),
        ({"from_0_0": "9", "to_0_0": "8"}, "The end must come after the beginning."),
        ({"from_0_0": "nine", "to_0_0": "12"}, "This is not a time."),
        (
            {"from_0_0": "8", "to_0_0": "12", "from_0_1": "11", "to_0_1": "17"},
            "Two stretches of this weekday overlap.",
        ),
    ],
)
def test_impossible_hours_are_named_and_stay(
    lead: Browser, cast: Cast, typed: dict[str, str], said: str
) -> None:
    make_hours(cast.therapist)
    page = lead.post(f"/staff-time/hours/{cast.therapist.pk}/", hours_answers(**typed))
    assert said in text_of(page)
    assert f'value="{typed["from_0_0"]}"' in text_of(page)
    assert WorkingHours.objects.count() == 10


def test_time_off_tells_how_many_bookings_fall_into_it(
    lead: Browser, cast: Cast, made: Appointment
) -> None:
    typed = {
        "therapist": str(cast.therapist.pk),
        "from_on": str(a_monday()),
        "from_time": "",
        "to_on": str(a_monday()),
        "to_time": "",
        "reason": "",
    }
    page = text_of(lead.post("/staff-time/time-off/new/", typed, follow=True))
    assert "1 booked appointment falls into it" in page
    calendar = text_of(lead.get(f"/calendar/?on={a_monday()}"))
    assert "away" in calendar


@pytest.mark.parametrize("page", ["time-off", "closures"])
def test_a_span_that_ends_before_it_begins_is_refused(lead: Browser, cast: Cast, page: str) -> None:
    typed = {
        "therapist": str(cast.therapist.pk),
        "from_on": "5 Mar 2027",
        "to_on": "4 Mar 2027",
        "title": "Founders' day",
        "first_on": "5 Mar 2027",
        "last_on": "4 Mar 2027",
    }
    shown = text_of(lead.post(f"/staff-time/{page}/new/", typed))
    assert "The end must come after the beginning." in shown
    assert 'value="5 Mar 2027"' in shown
    assert not TimeOff.objects.exists()
    assert not Closure.objects.exists()


def test_rooms_kinds_and_closures_are_kept(lead: Browser) -> None:
    day = f"{a_monday()}"
    lead.post("/staff-time/rooms/new/", {"name": "Heron", "place": "1", "is_active": "on"})
    lead.post("/staff-time/closures/new/", {"title": "Fair", "first_on": day, "last_on": day})
    kind = {
        "name": "Telephone",
        "mark": "Te",
        "minutes": "15",
        "tone": "stone",
        "purpose": "other",
        "place": "9",
        "is_active": "on",
    }
    lead.post("/staff-time/kinds/new/", kind)
    assert Room.objects.get().name == "Heron"
    assert Closure.objects.get().title == "Fair"
    assert AppointmentKind.objects.get(mark="Te").minutes == 15
    page = text_of(lead.get("/staff-time/"))
    assert all(name in page for name in ("Heron", "Fair", "Telephone"))


def test_a_room_of_the_same_name_is_refused(lead: Browser) -> None:
    make_room(name="Heron")
    page = text_of(lead.post("/staff-time/rooms/new/", {"name": "Heron", "place": "1"}))
    assert "already exists" in page
