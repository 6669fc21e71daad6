"""An existing list from CSV or iCalendar: checked first, then all of it or none."""

import re
from datetime import UTC, datetime, time
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client as Browser
from django.urls import reverse
from django.utils import timezone

from clinic.audit.models import Entry
from clinic.clients.models import Client
from clinic.scheduling.calendar_files import Event, calendar_file
from clinic.scheduling.models import Appointment, StatusChange
from clinic.scheduling.ranges import zone
from clinic.scheduling.selectors.imports import Otherwise, list_report
from clinic.scheduling.states import Status
from tests.builders import make_client
from tests.cast import Cast
from tests.clinic.scheduling.desk import make_room
from tests.clinic.scheduling.desk_stories import days, kind, make_appointment, today

HEADER = "client,on,at,minutes,therapist,room,kind,status,note"


@pytest.fixture
def person(cast: Cast) -> Client:
    make_room(name="Blue room")
    return make_client(record_number="T00007")


def line(**differences: Any) -> str:
    values = {
        "client": "T00007",
        "on": str(today() + days(3)),
        "at": "09:30",
        "minutes": "45",
        "therapist": "theo",
        "room": "Blue room",
        "kind": "Treatment",
        "status": "",
        "note": "",
    }
    return ",".join((values | differences).values())


def file_of(*lines: str) -> bytes:
    return "\r\n".join([HEADER, *lines]).encode()


def upload(browser: Browser, raw: bytes, **chosen: Any) -> Any:
    file = SimpleUploadedFile("list.csv", raw)
    return browser.post(reverse("appointments-import"), {"file": file} | chosen)


def confirm(browser: Browser, answer: Any, **chosen: Any) -> Any:
    checked = re.search(r'name="checked" value="([^"]+)"', answer.content.decode())[1]
    return browser.post(reverse("appointments-import"), {"checked": checked} | chosen, follow=True)


def test_the_dry_run_saves_nothing_and_the_confirmation_saves_all(
    desk: Browser, cast: Cast, person: Client
) -> None:
    past = line(on=str(today() - days(9)), status="no-show", at="8:00")
    answer = upload(desk, file_of(line(note="brings daughter"), past))
    assert "Save 2 appointments" in answer.content.decode()
    assert not Appointment.objects.exists()
    confirm(desk, answer)
    missed, made = Appointment.objects.order_by("period")
    assert (made.client, made.therapist, made.room.name) == (person, cast.therapist, "Blue room")
    assert (made.kind, made.desk_note, made.status) == (kind(), "brings daughter", Status.BOOKED)
    assert (made.period.upper - made.period.lower).total_seconds() == 45 * 60
    assert missed.status == Status.NO_SHOW
    assert StatusChange.objects.count() == 2
    assert Entry.objects.filter(verb="appointments.imported", client=person).count() == 1


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        ({"client": "Nobody Here"}, "No client is called"),
        ({"therapist": "somebody"}, "No therapist is called"),
        ({"room": "Red room"}, "No room is called"),
        ({"kind": "Massage"}, "No kind of appointment"),
        ({"kind": ""}, "No kind is named"),
        ({"on": "3/4/2026"}, "Not readable here"),
        ({"at": "half past"}, "Not readable here"),
        ({"minutes": "9000"}, "Not readable here"),
        ({"status": "cancelled"}, "Not readable here"),
        ({"note": "=1+1"}, "could run as a formula"),
        ({"client": ""}, "Empty"),
    ],
)
def test_a_wrong_line_is_named_and_bars_the_whole_file(
    desk: Browser, person: Client, wrong: dict[str, str], says: str
) -> None:
    answer = upload(desk, file_of(line(), line(at="11:00") if not wrong else line(**wrong)))
    text = answer.content.decode()
    assert (answer.status_code, says in text) == (422, True)
    assert 'name="checked"' not in text
    assert '<td class="num">3</td>' in text


def test_two_clients_of_one_name_ask_for_the_record_number(desk: Browser, person: Client) -> None:
    make_client(record_number="T00008")
    answer = upload(desk, file_of(line(client='"Ångström, Marguerite"')))
    assert "2 clients are called" in answer.content.decode()


@pytest.mark.parametrize("name", ['"Ångström, Marguerite"', "marguerite  ångström", " t00007 "])
def test_a_client_is_found_by_number_or_name(desk: Browser, person: Client, name: str) -> None:
    confirm(desk, upload(desk, file_of(line(client=name))))
    assert Appointment.objects.get().client == person


def test_lines_that_book_somebody_twice_are_told_apart(
    desk: Browser, cast: Cast, person: Client
) -> None:
    other = make_client(record_number="T00009", family_name="Brook")
    make_appointment(other, cast.therapist, today() + days(4), time(9))
    lines = [
        line(),
        line(client="T00009", at="10:00", therapist="tilda"),
        line(client="T00009", on=str(today() + days(4)), at="09:30"),
        line(client="T00009", on=str(today() + days(4)), at="09:00"),
    ]
    text = upload(desk, file_of(*lines)).content.decode()
    assert "the room is taken" in text
    assert "the therapist has another appointment" in text
    assert "booked already" in text


def test_the_same_file_twice_keeps_nothing_twice(desk: Browser, person: Client) -> None:
    raw = file_of(line(), line(on=str(today() - days(9)), status="no_show"))
    confirm(desk, upload(desk, raw))
    again = upload(desk, raw)
    assert again.content.decode().count("booked already") == 2
    assert Appointment.objects.count() == 2


def test_what_was_booked_between_check_and_confirmation_saves_nothing(
    desk: Browser, cast: Cast, person: Client
) -> None:
    answer = upload(desk, file_of(line(), line(at="14:00")))
    make_appointment(make_client(), cast.therapist, today() + days(3), time(14))
    told = confirm(desk, answer).content.decode()
    assert "no longer fits" in told
    assert Appointment.objects.count() == 1


def test_a_checked_file_is_good_for_the_person_who_checked_it_only(
    desk: Browser, lead: Browser, person: Client
) -> None:
    answer = upload(desk, file_of(line()))
    assert "no longer at hand" in confirm(lead, answer).content.decode()
    assert not Appointment.objects.exists()


def test_a_wall_time_stays_over_the_change_of_the_clocks(
    desk: Browser, cast: Cast, person: Client
) -> None:
    """The tz database: New York is UTC-5 on 7 March 2026 and UTC-4 from 8 March on."""
    raw = file_of(line(on="2026-03-07", status="done"), line(on="2026-03-08", status="done"))
    confirm(desk, upload(desk, raw))
    hours = [one.period.lower.astimezone(UTC).hour for one in Appointment.objects.all()]
    assert hours == [14, 13]


# iCalendar


def calendar_of(*events: str) -> bytes:
    head = "BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:-//Other//EN\r\n"
    body = "".join(
        f"BEGIN:VEVENT\r\nUID:{n}\r\n{one}END:VEVENT\r\n" for n, one in enumerate(events)
    )
    return f"{head}{body}END:VCALENDAR\r\n".encode()


def test_a_calendar_file_is_read_with_what_the_form_adds(
    desk: Browser, cast: Cast, person: Client
) -> None:
    starts_at = timezone.now().replace(minute=0, second=0, microsecond=0) + days(5)
    event = Event("a@b", starts_at, starts_at + days(0) + (days(1) / 24), "T00007", starts_at,
                  location="Blue room")  # fmt: skip
    raw = calendar_file([event], zone=zone())
    chosen = {"therapist": cast.therapist.pk, "kind": kind().pk}
    assert "Nobody is named" in upload(desk, raw, kind=kind().pk).content.decode()
    confirm(desk, upload(desk, raw, **chosen), **chosen)
    made = Appointment.objects.get()
    assert (made.client, made.period.lower, made.room.name) == (person, starts_at, "Blue room")


@pytest.mark.parametrize(
    ("event", "says"),
    [
        ("SUMMARY:T00007\r\nDTSTART;VALUE=DATE:20260302\r\n", "no appointment"),
        ("SUMMARY:T00007\r\nDTSTART:20260302T140000Z\r\n", "no appointment"),
        (
            "SUMMARY:T00007\r\nDTSTART:20260302T140000Z\r\nDTEND:20260302T150000Z\r\n"
            "RRULE:FREQ=DAILY;COUNT=3\r\n",
            "repeats",
        ),
    ],
)
def test_an_entry_that_is_no_single_appointment_is_told(
    cast: Cast, desk: Browser, person: Client, event: str, says: str
) -> None:
    answer = upload(desk, calendar_of(event), therapist=cast.therapist.pk, kind=kind().pk)
    assert says in answer.content.decode()


def test_floating_times_durations_and_cancelled_entries(cast: Cast, person: Client) -> None:
    raw = calendar_of(
        "SUMMARY:T00007\r\nDTSTART:20260302T090000\r\nDURATION:PT45M\r\n",
        "SUMMARY:nobody\r\nSTATUS:CANCELLED\r\nDTSTART:20260303T090000\r\nDURATION:PT45M\r\n",
    )
    report = list_report(raw, Otherwise(cast.therapist, kind()))
    (row,) = report.rows
    assert row.span.starts_at == datetime(2026, 3, 2, 14, tzinfo=UTC)
    assert row.span.minutes == 45


@pytest.mark.parametrize(
    "raw", [b"BEGIN:VCALENDAR\r\nBEGIN:VEVENT\r\nSUMM", b"", b"PK\x03\x04", HEADER.encode()]
)
def test_a_file_that_is_none_saves_nothing_and_is_told(
    desk: Browser, person: Client, raw: bytes
) -> None:
    answer = upload(desk, raw)
    assert 'name="checked"' not in answer.content.decode()
    assert not Appointment.objects.exists()


def test_the_queries_do_not_grow_with_the_file(
    cast: Cast, person: Client, django_assert_max_num_queries: Any
) -> None:
    rows = [line(on=str(today() + days(n)), at="09:00") for n in range(1, 60)]
    with django_assert_max_num_queries(5):
        assert len(list_report(file_of(*rows), Otherwise()).rows) == 59


def test_the_example_is_a_file_that_can_be_read(desk: Browser) -> None:
    answer = desk.get(reverse("appointments-import"), {"example": "1"})
    assert answer.content.decode("utf-8-sig").startswith("client,on,at")
    assert desk.get(reverse("appointments-import")).status_code == 200
