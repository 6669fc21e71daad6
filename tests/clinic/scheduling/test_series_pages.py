"""The pages that find free times and book a series."""

import re
from datetime import timedelta
from typing import Any

import pytest
from django.test import Client as Browser

from clinic.clients.models import Client
from clinic.scheduling.models import Appointment
from tests.builders import make_client
from tests.cast import Cast
from tests.clinic.scheduling.desk import (
    a_monday,
    answers,
    booked,
    make_hours,
    make_kind,
    text_of,
)


@pytest.fixture
def hours(cast: Cast) -> None:
    make_hours(cast.therapist)


def test_free_times_are_listed_with_a_way_to_book_each(desk: Browser, cast: Cast) -> None:
    make_hours(cast.therapist)
    asked = f"kind={make_kind().pk}&from_on={a_monday()}&weekdays=1&from_time=10&to_time=3+pm"
    page = text_of(desk.get(f"/free-times/?{asked}"))
    tuesday = a_monday() + timedelta(days=1)
    assert f"/appointments/new/?at={tuesday}T10:00" in page
    assert "Free, best first" in page


def test_when_nothing_fits_the_page_says_what_to_try(desk: Browser, cast: Cast) -> None:
    page = text_of(desk.get(f"/free-times/?kind={make_kind().pk}&from_time=9&to_time=17"))
    assert "No time fits within 90 days." in page


def test_a_wish_that_cannot_be_read_is_named_and_stays(desk: Browser) -> None:
    page = text_of(desk.get("/free-times/?kind=&from_time=noonish"))
    assert "This field is required." in page
    assert 'value="noonish"' in page


def series_answers(client: Client, cast: Cast, /, **differences: Any) -> dict[str, Any]:
    typed = {"weeks_1": "2", "weekdays_1": ["0", "2"], "step": "show"}
    return answers(client, cast, **typed | differences)


def decisions(page: Any) -> dict[str, str]:
    """What the preview has chosen for each date."""
    found = re.findall(r'name="(date-[^"]+)" value="([^"]*)" checked', page.content.decode())
    return dict(found)


@pytest.mark.usefixtures("hours")
def test_a_series_is_shown_first_and_saved_when_decided(desk: Browser, cast: Cast) -> None:
    client = make_client()
    shown = desk.post("/series/new/", series_answers(client, cast))
    assert "4 dates" in text_of(shown)
    assert not Appointment.objects.exists()
    typed = series_answers(client, cast, step="save") | decisions(shown)
    assert desk.post("/series/new/", typed).status_code == 302
    assert Appointment.objects.count() == 4


@pytest.mark.usefixtures("hours")
def test_a_blocked_date_is_decided_by_a_proposal_or_left_out(desk: Browser, cast: Cast) -> None:
    client = make_client()
    booked(cast.therapist, a_monday(), "09:00")
    shown = desk.post("/series/new/", series_answers(client, cast))
    assert "the therapist has another appointment" in text_of(shown)
    chosen = decisions(shown)
    first = f"date-{a_monday()}T09:00"
    assert chosen[first] not in {"planned", "skip"}
    typed = series_answers(client, cast, step="save") | chosen | {first: "skip"}
    assert desk.post("/series/new/", typed).status_code == 302
    assert Appointment.objects.filter(client=client).count() == 3


@pytest.mark.usefixtures("hours")
def test_a_date_taken_after_the_preview_saves_nothing(desk: Browser, cast: Cast) -> None:
    client = make_client()
    chosen = decisions(desk.post("/series/new/", series_answers(client, cast)))
    booked(cast.therapist, a_monday() + timedelta(days=2), "09:30")
    page = desk.post("/series/new/", series_answers(client, cast, step="save") | chosen)
    assert "Nothing is saved" in text_of(page)
    assert not Appointment.objects.filter(client=client).exists()


@pytest.mark.usefixtures("hours")
def test_a_pattern_changed_after_the_preview_is_shown_anew(desk: Browser, cast: Cast) -> None:
    client = make_client()
    chosen = decisions(desk.post("/series/new/", series_answers(client, cast)))
    typed = series_answers(client, cast, step="save", weeks_1="3") | chosen
    page = desk.post("/series/new/", typed)
    assert "6 dates" in text_of(page)
    assert not Appointment.objects.exists()


@pytest.mark.usefixtures("hours")
def test_a_series_without_weekdays_says_what_is_missing(desk: Browser, cast: Cast) -> None:
    page = text_of(desk.post("/series/new/", series_answers(make_client(), cast, weekdays_1=[])))
    assert "Choose at least one weekday" in page
    assert "brings daughter" in page
