"""Every page of the calendar: who may open it, by which method, and what it gives away."""

from collections.abc import Callable

import pytest
from django.test import Client as Browser
from django.utils import timezone

from clinic.scheduling.models import Appointment
from clinic.scheduling.services import booking as services
from clinic.scheduling.staff_time import Closure, TimeOff
from clinic.scheduling.states import CancelReason
from tests.builders import make_client, make_episode
from tests.cast import Cast
from tests.clinic.scheduling.desk import (
    a_monday,
    booked,
    make_hours,
    make_room,
    text_of,
)

MINE = (
    ("calendar/", {"GET"}),
    ("free-times/", {"GET"}),
    ("appointments/new/", {"GET", "POST"}),
    ("appointments/clients/", {"POST"}),
    ("appointments/{appointment}/", {"GET"}),
    ("appointments/{appointment}/move/", {"GET", "POST"}),
    ("appointments/{appointment}/status/", {"POST"}),
    ("appointments/{appointment}/cancel/", {"GET", "POST"}),
    ("appointments/{appointment}/note/", {"POST"}),
    ("clients/{client}/appointments/new/", {"GET", "POST"}),
    ("series/new/", {"GET", "POST"}),
    ("clients/{client}/series/new/", {"GET", "POST"}),
)
LEADS = (
    ("staff-time/", {"GET"}),
    ("staff-time/hours/{therapist}/", {"GET", "POST"}),
    ("staff-time/time-off/new/", {"GET", "POST"}),
    ("staff-time/time-off/{off}/remove/", {"POST"}),
    ("staff-time/closures/new/", {"GET", "POST"}),
    ("staff-time/closures/{closure}/remove/", {"POST"}),
    ("staff-time/rooms/new/", {"GET", "POST"}),
    ("staff-time/rooms/{room}/edit/", {"GET", "POST"}),
    ("staff-time/kinds/new/", {"GET", "POST"}),
    ("staff-time/kinds/{kind}/edit/", {"GET", "POST"}),
)


@pytest.fixture
def address(cast: Cast) -> Callable[[str], str]:
    """The address of a page about one appointment, therapist, room, closure."""
    made = booked(cast.therapist, a_monday(), "16:00")
    day = a_monday()
    closure = Closure.objects.create(title="Founders' day", first_on=day, last_on=day)
    off = TimeOff.objects.create(therapist=cast.therapist, period=made.period, by=cast.lead)
    parts = {
        "appointment": made.pk,
        "client": made.client_id,
        "therapist": cast.therapist.pk,
        "room": make_room().pk,
        "kind": made.kind_id,
        "closure": closure.pk,
        "off": off.pk,
    }
    return lambda pattern: "/" + pattern.format(**parts)


@pytest.mark.parametrize(("pattern", "methods"), [*MINE, *LEADS])
def test_the_page_opens_for_the_clinic_lead(
    lead: Browser, address: Callable[[str], str], pattern: str, methods: set[str]
) -> None:
    if "GET" in methods:
        assert lead.get(address(pattern)).status_code == 200
    else:
        assert lead.get(address(pattern)).status_code == 405


@pytest.mark.parametrize(("pattern", "methods"), MINE)
def test_the_page_opens_for_the_front_desk(
    desk: Browser, address: Callable[[str], str], pattern: str, methods: set[str]
) -> None:
    assert desk.get(address(pattern)).status_code == (200 if "GET" in methods else 405)


@pytest.mark.parametrize(("pattern", "methods"), LEADS)
def test_staff_time_is_for_the_clinic_lead_alone(
    desk: Browser,
    therapist: Browser,
    address: Callable[[str], str],
    pattern: str,
    methods: set[str],
) -> None:
    for browser in (desk, therapist):
        assert browser.get(address(pattern)).status_code == 403
        assert browser.post(address(pattern)).status_code == 403


@pytest.mark.parametrize(("pattern", "methods"), [*MINE, *LEADS])
def test_a_wrong_method_is_refused(
    lead: Browser, address: Callable[[str], str], pattern: str, methods: set[str]
) -> None:
    assert lead.put(address(pattern)).status_code == 405
    if "POST" not in methods:
        assert lead.post(address(pattern)).status_code == 405


@pytest.mark.parametrize(("pattern", "methods"), [*MINE, *LEADS])
def test_nobody_gets_in_without_signing_in(
    client: Browser, address: Callable[[str], str], pattern: str, methods: set[str]
) -> None:
    assert client.post(address(pattern)).headers["Location"].startswith("/sign-in/")


@pytest.mark.parametrize(("pattern", "methods"), MINE)
def test_no_page_tells_the_front_desk_anything_clinical(
    desk: Browser, cast: Cast, address: Callable[[str], str], pattern: str, methods: set[str]
) -> None:
    made = Appointment.objects.get()
    make_episode(made.client, cast.therapist, referral_reason="heaviness of the arm")
    if "GET" in methods:
        page = text_of(desk.get(address(pattern))).lower()
        for clinical in ("i97.2", "heaviness", "swollen", "intensive", "lymphedema"):
            assert clinical not in page


@pytest.fixture
def made(cast: Cast) -> Appointment:
    make_hours(cast.therapist)
    return booked(cast.therapist, a_monday(), "09:00")


@pytest.mark.parametrize("show", ["day", "week"])
@pytest.mark.parametrize("by", ["therapist", "room"])
def test_the_calendar_shows_bookings_gaps_and_whose_they_are(
    desk: Browser, cast: Cast, made: Appointment, show: str, by: str
) -> None:
    room = make_room(name="Heron")
    Appointment.objects.update(room=room)
    page = text_of(desk.get(f"/calendar/?on={a_monday()}&show={show}&by={by}"))
    assert "Ångström M." in page
    assert "09:00 to 10:00" in page
    assert ("Heron" if by == "room" else "Theo Marsh") in page
    assert f"/appointments/new/?{by}=" in page


def test_a_booking_without_a_room_is_shown_by_room_too(desk: Browser, made: Appointment) -> None:
    page = text_of(desk.get(f"/calendar/?on={a_monday()}&by=room"))
    assert "No room" in page
    assert "Ångström M." in page


def test_the_calendar_can_be_of_one_therapist(desk: Browser, cast: Cast, made: Appointment) -> None:
    booked(cast.other_therapist, a_monday(), client=make_client(family_name="Quill"))
    page = text_of(desk.get(f"/calendar/?on={a_monday()}&only={cast.therapist.pk}"))
    assert "Ångström M." in page
    assert "Quill M." not in page


def test_cancelled_bookings_leave_the_strip_and_stand_below(
    desk: Browser, cast: Cast, made: Appointment
) -> None:
    services.cancel(appointment=made, reason=CancelReason.COST, by=cast.front_desk)
    page = text_of(desk.get(f"/calendar/?on={a_monday()}"))
    assert "Ångström M." not in page
    assert "Cancelled in time: Cost" in page


@pytest.mark.parametrize("asked", ["on=nonsense", "show=year&by=planet", "only=x", "only=999"])
def test_an_address_that_cannot_be_read_shows_today(desk: Browser, asked: str) -> None:
    page = desk.get(f"/calendar/?{asked}")
    assert page.status_code == 200
    today = timezone.localdate()
    assert f"{today:%A}, {today.day} {today:%b %Y}" in text_of(page)
