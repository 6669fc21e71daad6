"""The day sheet: what the desk reads, presses and prints."""

from collections.abc import Callable
from datetime import time
from typing import Any
from unittest.mock import patch

import pytest
from django.db import connection
from django.test import Client as Browser
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from clinic.accounts.models import User
from clinic.clients.models import Client, PrecautionFound
from clinic.common.vocabulary import Precaution
from clinic.scheduling.desk_words import DESK_WORDS, DeskWord
from clinic.scheduling.open_ends import OpenEnd, Seen, open_end
from clinic.scheduling.selectors.day_sheet import DaySheet, Sheet, day_sheet, earlier_open_ends
from clinic.scheduling.states import Status
from tests.builders import make_client
from tests.cast import Cast
from tests.clinic.scheduling.desk import make_hours
from tests.clinic.scheduling.desk_stories import (
    at_wall,
    days,
    kind,
    make_appointment,
    make_authorisation,
    today,
)


@pytest.fixture
def person(cast: Cast) -> Client:
    return make_client(phone="555-0142")


def sheet_of(cast: Cast, at: time = time(8), **asked: Any) -> DaySheet:
    return day_sheet(Sheet(today(), **asked), cast.front_desk, now=at_wall(today(), at))


def test_the_day_stands_by_time_with_what_to_bring(cast: Cast, person: Client) -> None:
    other = make_client(family_name="Brook")
    make_appointment(other, cast.therapist, today(), time(11))
    make_appointment(person, cast.other_therapist, today(), time(9), desk_note="brings daughter")
    make_appointment(person, cast.therapist, today() + days(1), time(9))
    lines = sheet_of(cast).lines
    assert [line.card.short_name for line in lines] == ["Ångström M.", "Brook M."]
    assert lines[0].bring == kind().bring
    assert lines[0].card.desk_note == "brings daughter"
    assert lines[0].next_at.date() == today() + days(1)
    only = sheet_of(cast, therapist_id=cast.therapist.pk).lines
    assert [line.card.short_name for line in only] == ["Brook M."]


@pytest.mark.parametrize("word", list(DeskWord))
def test_a_precaution_reaches_the_desk_as_a_word_that_names_no_condition(
    desk: Browser, cast: Cast, person: Client, word: DeskWord
) -> None:
    make_appointment(person, cast.therapist, today())
    for precaution in DESK_WORDS[word]:
        found = PrecautionFound.objects.create(
            client=person, precaution=precaution, found_on=today(), found_by=cast.therapist
        )
        assert word in sheet_of(cast).lines[0].words
        page = desk.get(reverse("day-sheet")).content.decode()
        assert word.label.capitalize() in page
        assert precaution.label not in page
        found.delete()
    assert sheet_of(cast).lines[0].words == ()


def test_no_word_stands_for_one_condition_alone() -> None:
    assert all(len(meant) >= 3 for meant in DESK_WORDS.values())


def test_the_precaution_itself_is_not_read_for_the_desk(cast: Cast, person: Client) -> None:
    make_appointment(person, cast.therapist, today())
    PrecautionFound.objects.create(
        client=person, precaution=Precaution.SEIZURES, found_on=today(), found_by=cast.therapist
    )
    with CaptureQueriesContext(connection) as ran:
        sheet_of(cast)
    asked = [query["sql"] for query in ran if "clients_precautionfound" in query["sql"]]
    selected = [sql.split(" FROM ")[0] for sql in asked]
    assert selected == ['SELECT DISTINCT "clients_precautionfound"."client_id" AS "client_id"'] * 3


def test_authorised_visits_that_run_out_are_on_the_sheet(
    desk: Browser, cast: Cast, person: Client
) -> None:
    make_appointment(person, cast.therapist, today())
    make_authorisation(person, cast.front_desk, visits=3)
    assert "2 authorised visits left" in desk.get(reverse("day-sheet")).content.decode()


def test_free_time_is_what_the_hours_leave(cast: Cast, person: Client) -> None:
    make_hours(cast.therapist, weekdays=range(7))
    make_appointment(person, cast.therapist, today(), time(9), minutes=45)
    make_appointment(person, cast.therapist, today(), time(10), minutes=120)
    gaps = [(f"{gap.starts_at:%H:%M}", f"{gap.ends_at:%H:%M}") for gap in sheet_of(cast).gaps]
    assert gaps == [("08:00", "09:00"), ("13:00", "17:00")]


def test_the_sheet_takes_the_same_queries_for_one_as_for_many(cast: Cast) -> None:
    counted = []
    for number in range(12):
        client = make_client(family_name=f"Family{number}")
        make_appointment(client, cast.therapist, today(), time(8 + number))
        make_authorisation(client, cast.front_desk)
        with CaptureQueriesContext(connection) as ran:
            sheet_of(cast)
        counted.append(len(ran))
    assert len(set(counted)) == 1
    assert counted[0] <= 15


# Status


def press(browser: Browser, appointment: Any, status: str, **extra: Any) -> Any:
    return browser.post(
        reverse("day-sheet-status", args=[appointment.pk]), {"status": status} | extra
    )


def test_a_press_notes_the_state_and_comes_back_to_the_same_line(
    desk: Browser, cast: Cast, person: Client
) -> None:
    made = make_appointment(person, cast.therapist, today())
    answer = press(desk, made, "arrived", on=str(today()), therapist=cast.therapist.pk)
    where = f"{reverse('day-sheet')}?on={today()}&therapist={cast.therapist.pk}#a-{made.pk}"
    assert answer.url == where
    line = sheet_of(cast).lines[0]
    assert (line.card.status, line.arrived_at is not None) == (Status.ARRIVED, True)


def test_a_state_that_cannot_follow_is_told_and_nothing_changes(
    desk: Browser, cast: Cast, person: Client
) -> None:
    made = make_appointment(person, cast.therapist, today())
    answer = desk.post(reverse("day-sheet-status", args=[made.pk]), {"status": "done"}, follow=True)
    assert "cannot become done" in answer.content.decode()
    assert press(desk, made, "cancelled_late").status_code == 400
    assert press(desk, made, "nonsense").status_code == 400
    assert desk.get(reverse("day-sheet-status", args=[made.pk])).status_code == 405
    made.refresh_from_db()
    assert made.status == Status.BOOKED


def test_every_button_has_its_letter(desk: Browser, cast: Cast, person: Client) -> None:
    make_appointment(person, cast.therapist, today())
    page = desk.get(reverse("day-sheet")).content.decode()
    for status in ("confirmed", "arrived", "no_show"):
        assert f'data-status="{status}"' in page


def test_a_later_day_offers_no_arrival_and_no_no_show(
    desk: Browser, cast: Cast, person: Client
) -> None:
    tomorrow = today() + days(1)
    made = make_appointment(person, cast.therapist, tomorrow)
    page = desk.get(reverse("day-sheet"), {"on": f"{tomorrow:%Y-%m-%d}"}).content.decode()
    assert 'data-status="confirmed"' in page
    assert 'data-status="arrived"' not in page
    assert 'data-status="no_show"' not in page
    refused = desk.post(
        reverse("day-sheet-status", args=[made.pk]), {"status": "no_show"}, follow=True
    )
    assert "Say on the day whether the client came." in refused.content.decode()


# Open ends


@pytest.mark.parametrize(
    ("status", "is_over", "has_next", "expected"),
    [
        (Status.BOOKED, False, False, None),
        (Status.BOOKED, True, True, OpenEnd.NOT_ARRIVED),
        (Status.CONFIRMED, True, False, OpenEnd.NOT_ARRIVED),
        (Status.IN_SESSION, False, False, None),
        (Status.IN_SESSION, True, True, OpenEnd.NOT_ENDED),
        (Status.ARRIVED, True, True, OpenEnd.NOT_ENDED),
        (Status.NO_SHOW, True, False, OpenEnd.NOT_REBOOKED),
        (Status.NO_SHOW, True, True, None),
        (Status.CANCELLED_LATE, False, False, OpenEnd.NOT_REBOOKED),
        (Status.DONE, True, False, OpenEnd.NOTHING_NEXT),
        (Status.DONE, True, True, None),
    ],
)
def test_what_is_open_at_the_end_of_the_day(
    status: Status, is_over: bool, has_next: bool, expected: OpenEnd | None
) -> None:
    now = at_wall(today(), time(17))
    ends_at = at_wall(today(), time(16) if is_over else time(18))
    next_at = at_wall(today() + days(1), time(9)) if has_next else None
    assert open_end(Seen(status, ends_at, next_at), now=now) is expected


def test_a_later_booking_the_same_day_counts_as_the_next(cast: Cast, person: Client) -> None:
    make_appointment(person, cast.therapist, today(), time(9), status=Status.NO_SHOW)
    make_appointment(person, cast.therapist, today(), time(15))
    lines = sheet_of(cast, time(12)).lines
    assert [line.open_end for line in lines] == [None, None]


def test_unsettled_appointments_of_days_before_are_kept_in_sight(
    desk: Browser, cast: Cast, person: Client
) -> None:
    make_appointment(person, cast.therapist, today() - days(3))
    make_appointment(person, cast.therapist, today() - days(2), status=Status.DONE)
    make_appointment(person, cast.therapist, today() - days(30))
    found = earlier_open_ends(cast.front_desk, on=today(), now=at_wall(today(), time(8)))
    assert [(line.card.starts_at.date(), line.open_end) for line in found] == [
        (today() - days(3), OpenEnd.NOT_ARRIVED)
    ]
    assert "came or did not come" in desk.get(reverse("day-sheet")).content.decode()


# The page


def test_another_day_and_bad_questions_show_a_sheet(desk: Browser, cast: Cast) -> None:
    url = reverse("day-sheet")
    assert "Nobody is booked" in desk.get(url, {"on": "2026-03-02"}).content.decode()
    assert desk.get(url, {"on": "yesterday", "therapist": "x"}).status_code == 200
    assert desk.post(url).status_code == 405


def test_a_walk_in_is_booked_from_the_time_now(
    cast: Cast, signed_in: Callable[[User], Browser]
) -> None:
    # Signed in by the same clock, or whoever signed in long before 10:20 was idle for too long.
    with patch("django.utils.timezone.now", return_value=at_wall(today(), time(10, 20))):
        page = signed_in(cast.front_desk).get(reverse("day-sheet")).content.decode()
    assert f"?at={today()}T10:20" in page


def test_a_freed_time_leads_to_who_fits_and_to_rebooking(
    desk: Browser, cast: Cast, person: Client
) -> None:
    made = make_appointment(person, cast.therapist, today(), status=Status.NO_SHOW)
    page = desk.get(reverse("day-sheet")).content.decode()
    assert reverse("wait-list-opening", args=[made.pk]) in page
    assert reverse("client-appointment-new", args=[person.pk]) in page
