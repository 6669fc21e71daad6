"""Calendar files: read back by icalendar, clocks checked against the tz database, feeds secret."""

import re
from datetime import UTC, date, datetime, time, timedelta
from io import StringIO
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from dateutil.tz import tzical
from django.test import Client as Browser
from django.urls import reverse
from hypothesis import given
from hypothesis import strategies as st
from icalendar import Calendar

from clinic.accounts.models import Practice
from clinic.audit.models import Entry
from clinic.clients.models import Client
from clinic.scheduling.calendar_files import (
    MOST_OCTETS,
    Event,
    calendar_file,
    folded,
    initials,
)
from clinic.scheduling.models import CalendarFeed
from clinic.scheduling.states import Status
from clinic.scheduling.words import Purpose
from tests.builders import make_client
from tests.cast import Cast
from tests.clinic.scheduling.desk import make_room
from tests.clinic.scheduling.desk_stories import (
    CLINICAL_TEXT,
    days,
    give_rich_record,
    kind,
    make_appointment,
    today,
)

NEW_YORK = ZoneInfo("America/New_York")


def event(starts_at: datetime, **differences: Any) -> Event:
    values = {
        "uid": "one@clinic.example",
        "starts_at": starts_at,
        "ends_at": starts_at + timedelta(minutes=60),
        "summary": "M. A.",
        "changed_at": datetime(2026, 1, 5, 12, tzinfo=UTC),
    }
    return Event(**values | differences)


def read_back(content: bytes) -> list[Any]:
    return list(Calendar.from_ical(content).events)


# Lines: RFC 5545, sections 3.1 (folding, CRLF) and 3.3.11 (text).


@given(st.text(st.characters(blacklist_categories=["Cs", "Cc"]), max_size=300))
def test_any_text_comes_back_unchanged_through_folding_and_escaping(text: str) -> None:
    content = calendar_file(
        [event(datetime(2026, 3, 2, 14, tzinfo=UTC), summary=text)], zone=NEW_YORK
    )
    assert str(read_back(content)[0].get("SUMMARY")) == text
    assert all(len(line) <= MOST_OCTETS for line in content.split(b"\r\n"))


def test_commas_semicolons_backslashes_and_line_breaks_come_back() -> None:
    text = "Ring twice, then wait; \\ door\nsecond line"
    content = calendar_file(
        [event(datetime(2026, 3, 2, 14, tzinfo=UTC), description=text)], zone=NEW_YORK
    )
    assert str(read_back(content)[0].get("DESCRIPTION")) == text
    assert b"\\, then wait\\; \\\\ door\\nsecond" in content


def test_every_line_ends_with_crlf_and_no_other_break_stands_alone() -> None:
    content = calendar_file([event(datetime(2026, 3, 2, 14, tzinfo=UTC))], zone=NEW_YORK)
    assert content.endswith(b"END:VCALENDAR\r\n")
    assert not re.search(rb"(?<!\r)\n|\r(?!\n)", content)


def test_a_line_is_folded_at_75_octets_without_tearing_a_character() -> None:
    # outside_checks, section 8: lines of exactly 75 octets are seen with umlauts.
    lines = folded("SUMMARY:" + "ö" * 60).rstrip(b"\r\n").split(b"\r\n")
    assert max(map(len, lines)) <= 75
    assert all(line.decode() for line in lines)
    assert [line[:1] for line in lines[1:]] == [b" "] * (len(lines) - 1)
    assert len(folded("X" * 75)) == 77


def test_a_control_sign_cannot_smuggle_in_a_line() -> None:
    content = calendar_file(
        [event(datetime(2026, 3, 2, 14, tzinfo=UTC), summary="A\r\nATTENDEE:mailto:x\x0b")],
        zone=NEW_YORK,
    )
    assert "ATTENDEE" not in read_back(content)[0]
    assert b"\r\nATTENDEE" not in content


# Clocks. The tz database: United States 2026, clocks go forward on 8 March at 2:00 and back on
# 1 November at 2:00; Europe/Berlin on 29 March and 25 October.


@pytest.mark.parametrize(
    ("on", "utc_hour"),
    [
        (date(2026, 3, 7), 14),
        (date(2026, 3, 8), 13),
        (date(2026, 10, 31), 13),
        (date(2026, 11, 1), 14),
    ],
)
def test_nine_oclock_stays_nine_over_a_change_of_the_clocks(on: date, utc_hour: int) -> None:
    nine = datetime.combine(on, time(9), NEW_YORK)
    found = read_back(calendar_file([event(nine.astimezone(UTC))], zone=NEW_YORK))[0]
    starts = found.get("DTSTART").dt
    assert starts.astimezone(UTC).hour == utc_hour
    assert (starts.hour, starts.date()) == (9, on)


@pytest.mark.parametrize(
    "starts_at",
    [datetime(2026, 3, 8, 6, 30, tzinfo=UTC), datetime(2026, 11, 1, 5, 30, tzinfo=UTC)],
)
def test_an_appointment_over_the_hour_that_is_skipped_or_repeated_keeps_its_length(
    starts_at: datetime,
) -> None:
    found = read_back(calendar_file([event(starts_at)], zone=NEW_YORK))[0]
    starts, ends = (found.get(name).dt.astimezone(UTC) for name in ("DTSTART", "DTEND"))
    assert (starts, ends - starts) == (starts_at, timedelta(minutes=60))


@pytest.mark.parametrize(
    "name",
    [
        "America/New_York",
        "Europe/Berlin",
        "Australia/Lord_Howe",
        "Asia/Kolkata",
        "America/Phoenix",
        "UTC",
        "Africa/Casablanca",
        "America/Sao_Paulo",
    ],
)
def test_the_zone_written_out_agrees_with_the_tz_database_every_three_hours(name: str) -> None:
    """Read by dateutil's own VTIMEZONE parser, which knows nothing of the zone but the file."""
    zone = ZoneInfo(name)
    first = datetime(2026, 1, 1, tzinfo=UTC)
    content = calendar_file([event(first)], zone=zone).decode()
    block = content[content.index("BEGIN:VTIMEZONE") : content.index("BEGIN:VEVENT")]
    written = tzical(StringIO(block.replace("\r\n", "\n"))).get()
    for hours in range(0, 366 * 24, 3):
        local = (first + timedelta(hours=hours)).astimezone(zone)
        if _is_clear(local, zone):
            assert local.replace(tzinfo=written).utcoffset() == local.utcoffset(), local


def _is_clear(local: datetime, zone: ZoneInfo) -> bool:
    """Neither shown twice nor within the skip: there two readers may differ."""
    naive = local.replace(tzinfo=None)
    around = {(naive + timedelta(hours=h)).replace(tzinfo=zone).utcoffset() for h in (-2, 2)}
    return len(around) == 1


def test_initials_are_letters_only() -> None:
    assert initials("Mary Ann", "Brook-Hill") == "M. A. B."
    assert initials("østen", "d'Arc") == "Ø. D."
    assert initials("", "42 Ng") == "N."


# Feeds


@pytest.fixture
def person(cast: Cast) -> Client:
    person = make_client(given_name="Marguerite", family_name="Ångström", phone="555-0142")
    give_rich_record(person, cast.therapist)
    return person


def make_feed(browser: Browser, of: str) -> str:
    page = browser.post(reverse("feeds"), {"of": of}).content.decode()
    return re.search(r"http://testserver(/feeds/[\w-]+\.ics)", page)[1]


def test_a_feed_holds_a_therapists_bookings_with_initials_and_nothing_else(
    therapist: Browser, cast: Cast, person: Client
) -> None:
    make_appointment(
        person, cast.therapist, today() + days(1), room=make_room(name="Blue room"),
        desk_note="brings daughter",
    )  # fmt: skip
    make_appointment(person, cast.other_therapist, today() + days(2))
    make_appointment(person, cast.therapist, today() + days(3), status=Status.CANCELLED_EARLY)
    answer = Browser().get(make_feed(therapist, f"t{cast.therapist.pk}"))
    assert answer["Content-Type"].startswith("text/calendar")
    (found,) = read_back(answer.content)
    assert (str(found.get("SUMMARY")), str(found.get("LOCATION"))) == ("M. Å.", "Blue room")
    assert str(found.get("CLASS")) == "PRIVATE"
    text = answer.content.decode().replace("\r\n ", "")
    hidden = ("Marguerite", "Ångström", "555-0142", "daughter", person.record_number)
    assert not [word for word in (*hidden, "Treatment", *CLINICAL_TEXT) if word in text]


def test_a_room_feed_holds_the_rooms_bookings(desk: Browser, cast: Cast, person: Client) -> None:
    room, other = make_room(), make_room()
    make_appointment(person, cast.therapist, today() + days(1), room=room)
    make_appointment(person, cast.therapist, today() + days(2), room=other)
    assert len(read_back(Browser().get(make_feed(desk, f"r{room.pk}")).content)) == 1


def test_an_address_is_unguessable_kept_only_as_a_hash_and_shown_once(
    therapist: Browser, cast: Cast
) -> None:
    address = make_feed(therapist, f"t{cast.therapist.pk}")
    token = address.removeprefix("/feeds/").removesuffix(".ics")
    assert len(token) >= 43  # 256 random bits in base 64
    assert token not in CalendarFeed.objects.get().token_hash
    assert token not in therapist.get(reverse("feeds")).content.decode()
    assert Browser().get(address.replace(token, token[:-1] + "_")).status_code == 404
    assert Browser().post(address).status_code == 405


def test_a_revoked_address_is_gone_for_good(therapist: Browser, desk: Browser, cast: Cast) -> None:
    address = make_feed(therapist, f"t{cast.therapist.pk}")
    assert Browser().get(address).status_code == 200
    feed = CalendarFeed.objects.get()
    assert feed.last_read_at is not None
    assert desk.post(reverse("feed-revoke", args=[feed.pk])).status_code == 404
    therapist.post(reverse("feed-revoke", args=[feed.pk]))
    assert Browser().get(address).status_code == 404
    assert set(Entry.objects.values_list("verb", flat=True)) == {"feed.made", "feed.revoked"}


def test_the_feed_of_somebody_who_left_is_closed(therapist: Browser, cast: Cast) -> None:
    address = make_feed(therapist, f"t{cast.therapist.pk}")
    cast.therapist.is_active = False
    cast.therapist.save()
    assert Browser().get(address).status_code == 404


def test_nobody_makes_an_address_of_another_persons_bookings_but_the_lead(
    therapist: Browser, desk: Browser, lead: Browser, cast: Cast
) -> None:
    for browser in (therapist, desk):
        page = browser.post(reverse("feeds"), {"of": f"t{cast.other_therapist.pk}"})
        assert "of-error" in page.content.decode()
    assert not CalendarFeed.objects.exists()
    assert make_feed(lead, f"t{cast.other_therapist.pk}")


def test_a_feed_takes_one_query_for_the_bookings(
    therapist: Browser, cast: Cast, person: Client, django_assert_max_num_queries: Any
) -> None:
    for ahead in range(1, 6):
        make_appointment(person, cast.therapist, today() + days(ahead))
    address = make_feed(therapist, f"t{cast.therapist.pk}")
    with django_assert_max_num_queries(3):
        assert len(read_back(Browser().get(address).content)) == 5


def test_an_empty_feed_is_a_calendar(therapist: Browser, cast: Cast) -> None:
    answer = Browser().get(make_feed(therapist, f"t{cast.therapist.pk}"))
    assert read_back(answer.content) == []


# One appointment


def test_one_appointment_says_when_and_where_and_not_what_for(
    desk: Browser, cast: Cast, person: Client
) -> None:
    Practice.objects.update_or_create(
        pk=1, defaults={"name": "Harbour Practice", "street": "4 Quay Road", "phone": "555-0100"}
    )
    on = date(2026, 3, 9)
    made = make_appointment(person, cast.therapist, on, time(9), purpose=Purpose.GARMENT_FITTING)
    answer = desk.get(reverse("appointment-file", args=[made.pk]))
    (found,) = read_back(answer.content)
    assert found.get("DTSTART").dt == datetime(2026, 3, 9, 9, tzinfo=NEW_YORK)
    assert str(found.get("LOCATION")) == "Harbour Practice, 4 Quay Road"
    assert "555-0100" in str(found.get("DESCRIPTION"))
    text = answer.content.decode().replace("\r\n ", "")
    unsaid = (kind(Purpose.GARMENT_FITTING).name, "Ångström", *CLINICAL_TEXT)
    assert not [word for word in unsaid if word in text]
    assert Entry.objects.get(verb="appointment.file").client == person


def test_a_changed_appointment_replaces_the_old_entry(
    desk: Browser, cast: Cast, person: Client
) -> None:
    made = make_appointment(person, cast.therapist, today() + days(1))
    url = reverse("appointment-file", args=[made.pk])
    before = read_back(desk.get(url).content)[0]
    made.version, made.status, made.cancel_reason = 2, Status.CANCELLED_EARLY, "unwell"
    made.save()
    after = read_back(desk.get(url).content)[0]
    assert before.get("UID") == after.get("UID")
    assert after.get("SEQUENCE") > before.get("SEQUENCE")
    assert str(after.get("STATUS")) == "CANCELLED"
