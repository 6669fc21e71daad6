"""The forms that book, move and cancel: they work, and keep what was typed."""

import re
from datetime import timedelta
from typing import Any

import pytest
from django.test import Client as Browser

from clinic.scheduling.models import Appointment
from clinic.scheduling.ranges import wall
from clinic.scheduling.staff_time import WorkingHours
from clinic.scheduling.states import CancelReason, Status
from tests.builders import make_client
from tests.cast import Cast
from tests.clinic.scheduling.desk import (
    a_monday,
    answers,
    booked,
    make_hours,
    make_kind,
    make_room,
    text_of,
)

NEW = "/appointments/new/"


@pytest.fixture
def hours(cast: Cast) -> None:
    make_hours(cast.therapist)


@pytest.mark.usefixtures("hours")
def test_a_booking_from_the_form_is_kept_and_seen(desk: Browser, cast: Cast) -> None:
    client = make_client(family_name="Quill")
    page = desk.post(NEW, answers(client, cast))
    made = Appointment.objects.get()
    assert page.headers["Location"] == f"/calendar/?on={a_monday()}"
    assert f"{wall(made.period.lower):%H:%M}" == "09:00"
    assert (made.desk_note, made.kind) == ("brings daughter", make_kind())
    assert "Quill M." in text_of(desk.get(page.headers["Location"]))


@pytest.mark.usefixtures("hours")
@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"at": "25:00"}, "This is not a time."),
        ({"at": "half nine"}, "This is not a time."),
        ({"at": ""}, "This field is required."),
        ({"on": "31 Feb 2027"}, "This is not a day."),
        ({"on": "2 Mar 2020"}, "This day has passed."),
        ({"minutes": "3"}, "greater than or equal to 5"),
        ({"minutes": "47"}, "Lengths go by five minutes"),
        ({"minutes": "9000"}, "less than or equal to 480"),
        ({"kind": ""}, "This field is required."),
        ({"therapist": "999999"}, "Select a valid choice."),
        ({"room": "999999"}, "Select a valid choice."),
        ({"client": ""}, "Choose who comes."),
        ({"client": "nobody"}, "Choose who comes."),
        ({"client": "00000000-0000-4000-8000-000000000000"}, "Choose who comes."),
        ({"at": "7:00"}, "Outside the therapist"),
    ],
)
def test_bad_input_is_named_and_what_was_typed_stays(
    desk: Browser, cast: Cast, wrong: dict[str, str], said: str
) -> None:
    page = desk.post(NEW, answers(make_client(), cast, **wrong))
    shown = text_of(page)
    assert page.status_code == 200
    assert said in shown.replace("&#x27;", "'")
    assert "brings daughter" in shown
    for typed in (value for value in wrong.values() if value and not value.startswith("9999")):
        assert typed in shown or "client" in wrong
    assert not Appointment.objects.exists()


@pytest.mark.usefixtures("hours")
def test_a_tick_books_outside_hours(desk: Browser, cast: Cast) -> None:
    early = answers(make_client(), cast, at="7:00")
    assert "Book all the same" in text_of(desk.post(NEW, early))
    assert desk.post(NEW, early | {"is_deliberate": "on"}).status_code == 302


@pytest.mark.usefixtures("hours")
def test_a_proposed_time_is_booked_by_one_press(desk: Browser, cast: Cast) -> None:
    booked(cast.therapist, a_monday(), "09:00")
    refused = desk.post(NEW, answers(make_client(), cast))
    instead = re.search(r'name="instead" value="([^"]*)"', refused.content.decode())
    assert instead
    page = desk.post(NEW, answers(make_client(), cast, instead=instead[1]))
    assert page.status_code == 302
    assert Appointment.objects.count() == 2


@pytest.mark.parametrize("words", ["quill", "QUI mar", "77123"])
def test_a_client_is_found_by_typing_and_never_named_in_an_address(
    desk: Browser, words: str
) -> None:
    client = make_client(given_name="Mary", family_name="Quill", record_number="77123")
    make_client(family_name="Other")
    page = text_of(desk.post("/appointments/clients/", {"words": words}))
    assert f'value="{client.pk}" checked' in page
    assert "Other" not in page
    assert desk.get(f"/appointments/clients/?words={words}").status_code == 405


def test_without_script_the_form_itself_finds_the_client(desk: Browser, cast: Cast) -> None:
    make_client(family_name="Quill")
    typed = answers(make_client(), cast, client="", words="quill")
    page = text_of(desk.post(NEW, typed))
    assert "Choose one of these." in page
    assert "Quill, Marguerite" in page


@pytest.mark.usefixtures("hours")
def test_a_free_cell_fills_in_therapist_time_and_usual_room(desk: Browser, cast: Cast) -> None:
    room = make_room()
    WorkingHours.objects.update(room=room)
    page = text_of(desk.get(f"{NEW}?therapist={cast.therapist.pk}&at={a_monday()}T10:15"))
    assert 'value="10:15"' in page
    assert f'<option value="{cast.therapist.pk}" selected>' in page
    assert f'<option value="{room.pk}" selected>' in page


@pytest.mark.parametrize("asked", ["at=nonsense", "therapist=x&at=2026-03-02T09:00", "room=-1"])
def test_an_address_that_cannot_be_read_opens_an_empty_form(desk: Browser, asked: str) -> None:
    assert desk.get(f"{NEW}?{asked}").status_code == 200


@pytest.fixture
def made(cast: Cast) -> Appointment:
    make_hours(cast.therapist)
    return booked(cast.therapist, a_monday(), "09:00")


def test_one_press_changes_the_state(desk: Browser, made: Appointment) -> None:
    desk.post(f"/appointments/{made.pk}/status/", {"status": "confirmed"})
    made.refresh_from_db()
    assert made.status == Status.CONFIRMED
    assert "Confirmed" in text_of(desk.get(f"/appointments/{made.pk}/"))


def test_a_state_that_cannot_follow_is_told(desk: Browser, made: Appointment) -> None:
    page = desk.post(f"/appointments/{made.pk}/status/", {"status": "done"}, follow=True)
    assert "The appointment is booked by now, so it cannot become done." in text_of(page)


@pytest.mark.parametrize("status", ["cancelled_early", "nonsense", ""])
def test_cancelling_goes_through_its_reason(desk: Browser, made: Appointment, status: str) -> None:
    answer = desk.post(f"/appointments/{made.pk}/status/", {"status": status})
    assert answer.status_code == 400
    made.refresh_from_db()
    assert made.status == Status.BOOKED


def test_cancelling_asks_for_a_reason_and_keeps_the_note(desk: Browser, made: Appointment) -> None:
    address = f"/appointments/{made.pk}/cancel/"
    page = text_of(desk.post(address, {"reason": "", "note": "will call"}))
    assert "This field is required." in page
    assert 'value="will call"' in page
    assert desk.post(address, {"reason": "weather", "note": "snow"}).status_code == 302
    made.refresh_from_db()
    assert (made.cancel_reason, made.cancel_note) == (CancelReason.WEATHER, "snow")


def moved_to(made: Appointment, clock: str, **differences: Any) -> dict[str, Any]:
    return {
        "on": f"{a_monday()}",
        "at": clock,
        "minutes": "60",
        "therapist": str(made.therapist_id),
        "room": "",
        "version": str(made.version),
    } | differences


def test_the_form_moves_and_resizes_what_dragging_does(desk: Browser, made: Appointment) -> None:
    answer = desk.post(f"/appointments/{made.pk}/move/", moved_to(made, "10:30", minutes="45"))
    assert answer.status_code == 302
    made.refresh_from_db()
    assert (made.period.upper - made.period.lower) == timedelta(minutes=45)
    assert f"{wall(made.period.lower):%H:%M}" == "10:30"


def test_a_move_into_taken_time_says_so_and_keeps_the_form(
    desk: Browser, cast: Cast, made: Appointment
) -> None:
    booked(cast.therapist, a_monday(), "11:00")
    page = text_of(desk.post(f"/appointments/{made.pk}/move/", moved_to(made, "11:30")))
    assert "the therapist has another appointment" in page
    assert 'value="11:30"' in page
    assert "Nearest free times" in page


def test_a_move_after_somebody_elses_is_refused(
    desk: Browser, cast: Cast, made: Appointment
) -> None:
    old = moved_to(made, "11:00")
    desk.post(f"/appointments/{made.pk}/move/", moved_to(made, "10:00"))
    page = text_of(desk.post(f"/appointments/{made.pk}/move/", old))
    assert "somebody else changed this appointment" in page


def test_a_long_desk_note_is_refused_and_a_short_one_kept(desk: Browser, made: Appointment) -> None:
    address = f"/appointments/{made.pk}/note/"
    desk.post(address, {"desk_note": "x" * 201})
    made.refresh_from_db()
    assert made.desk_note == ""
    desk.post(address, {"desk_note": "brings forms"})
    made.refresh_from_db()
    assert made.desk_note == "brings forms"


def test_opening_an_appointment_is_recorded(desk: Browser, made: Appointment) -> None:
    desk.get(f"/appointments/{made.pk}/")
    entries = made.client._meta.apps.get_model("audit", "Entry").objects
    assert entries.filter(client=made.client, verb="appointment.seen").count() == 1
