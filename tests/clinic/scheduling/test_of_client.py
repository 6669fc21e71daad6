"""A client on the telephone asks when they come: their page answers."""

from datetime import timedelta

import pytest
from django.test import Client as Browser
from django.urls import reverse
from django.utils import timezone

from clinic.scheduling.selectors.of_client import MOST_COMING, client_appointments
from clinic.scheduling.states import Status
from tests.builders import make_client
from tests.cast import Cast
from tests.clinic.scheduling.desk import text_of
from tests.clinic.scheduling.desk_stories import make_appointment

pytestmark = pytest.mark.django_db


def test_what_is_to_come_stands_by_time_and_a_freed_time_does_not(cast: Cast) -> None:
    person, today = make_client(), timezone.localdate()
    later = make_appointment(person, cast.therapist, today + timedelta(days=9))
    sooner = make_appointment(person, cast.therapist, today + timedelta(days=2))
    freed = make_appointment(
        person, cast.therapist, today + timedelta(days=4), status=Status.CANCELLED_EARLY
    )
    past = make_appointment(person, cast.therapist, today - timedelta(days=3), status=Status.DONE)
    make_appointment(make_client(), cast.other_therapist, today + timedelta(days=2))
    found = client_appointments(person, cast.front_desk, now=timezone.now())
    assert [card.id for card in found.coming] == [sooner.pk, later.pk]
    assert [card.id for card in found.past] == [freed.pk, past.pk]
    assert not found.more_follow


def test_a_long_series_is_cut_and_says_so(cast: Cast) -> None:
    person, today = make_client(), timezone.localdate()
    for number in range(MOST_COMING + 1):
        make_appointment(person, cast.therapist, today + timedelta(days=number + 1))
    found = client_appointments(person, cast.front_desk, now=timezone.now())
    assert (len(found.coming), found.more_follow) == (MOST_COMING, True)


def test_the_client_page_leads_the_desk_to_each_appointment(desk: Browser, cast: Cast) -> None:
    person = make_client()
    url = reverse("client", args=[person.pk])
    assert "Nothing is booked." in text_of(desk.get(url))
    made = make_appointment(person, cast.therapist, timezone.localdate() + timedelta(days=2))
    page = text_of(desk.get(url))
    assert "Nothing is booked." not in page
    assert reverse("appointment", args=[made.pk]) in page


def test_who_charts_begins_the_note_from_the_appointment_on_its_day(
    desk: Browser, cast: Cast
) -> None:
    today, therapist = timezone.localdate(), Browser()
    therapist.force_login(cast.therapist)
    for on, browser, expected in [
        (today, therapist, True),
        (today, desk, False),
        (today + timedelta(days=1), therapist, False),
    ]:
        made = make_appointment(make_client(), cast.therapist, on)
        page = text_of(browser.get(reverse("appointment", args=[made.pk])))
        assert (reverse("appointment-visit", args=[made.pk]) in page) is expected
        made.delete()
