"""The front desk walks every page, list, file and feed and meets no clinical text of a client who
has a diagnosis, girths, a treated basin, radiation and precautions with notes."""

import re
from collections.abc import Iterator
from datetime import time
from typing import Any

import pytest
from django.db import connection
from django.test import Client as Browser
from django.test.utils import CaptureQueriesContext
from django.urls import get_resolver, reverse

from clinic.accounts.permits import OPEN_TO_ALL, may
from clinic.scheduling.models import ReminderConsent, WaitListEntry
from clinic.scheduling.states import Status
from tests.builders import make_client, make_referrer
from tests.cast import Cast
from tests.clinic.letters.sending.approved import approve_quickly, batch_of
from tests.clinic.scheduling.desk import make_hours, make_room
from tests.clinic.scheduling.desk_stories import (
    CLINICAL_TEXT,
    days,
    give_rich_record,
    kind,
    make_appointment,
    make_authorisation,
    today,
)


@pytest.fixture
def rich(cast: Cast) -> dict[str, Any]:
    """A client with a rich record, present in everything the desk looks at."""
    person = make_client(phone="555-0142", email="marguerite@mail.example")
    give_rich_record(person, cast.therapist)
    make_hours(cast.therapist, weekdays=range(7))
    room = make_room(name="Blue room")
    here = make_appointment(person, cast.therapist, today(), time(9), room=room)
    freed = make_appointment(
        person, cast.therapist, today() + days(1), time(10), status=Status.CANCELLED_EARLY
    )
    make_appointment(person, cast.therapist, today() - days(2), status=Status.NO_SHOW)
    make_appointment(person, cast.therapist, today() + days(1), time(15))
    authorisation = make_authorisation(person, cast.front_desk, visits=2)
    entry = WaitListEntry.objects.create(
        client=person, kind=kind(), minutes=60, joined_by=cast.front_desk
    )
    ReminderConsent.objects.create(
        client=person, channel="email", agreed_on=today(), by=cast.front_desk
    )
    referrer = make_referrer()
    episode = person.episodes.get()
    letter = approve_quickly(episode, referrer, bottom_line=" ".join(CLINICAL_TEXT)[:300])
    approve_quickly(episode, referrer, kind="discharge")
    batch = batch_of(letter, by=cast.front_desk)
    return {
        "batch": batch,
        "sending": batch.sendings.get(),
        "referrer": referrer,
        "person": person,
        "appointment": here,
        "freed": freed,
        "authorisation": authorisation,
        "entry": entry,
        "therapist": cast.therapist,
    }


def pages(rich: dict[str, Any]) -> Iterator[tuple[str, str]]:
    """Every address of the app's scheduling and overview pages that takes no unknown key."""
    known = {
        "client_id": rich["person"].pk,
        "appointment_id": rich["appointment"].pk,
        "entry_id": rich["entry"].pk,
        "authorisation_id": rich["authorisation"].pk,
        "user_id": rich["therapist"].pk,
        "reason": "nothing_booked",
        "batch_id": rich["batch"].pk,
        "sending_id": rich["sending"].pk,
        "referrer_id": rich["referrer"].pk,
    }
    for included in get_resolver().url_patterns:
        for pattern in included.url_patterns:
            names = set(pattern.pattern.converters)
            if names <= known.keys() and pattern.callback.permit != OPEN_TO_ALL:
                given = {name: known[name] for name in names}
                yield pattern.name, reverse(pattern.name, kwargs=given)
    yield "opening", reverse("wait-list-opening", args=[rich["freed"].pk])
    yield "tomorrow", f"{reverse('reminders')}?on={today() + days(1)}"
    yield "week", f"{reverse('calendar')}?reach=week"


# The letters themselves, on the paper that the desk puts into envelopes: it prints and posts them,
# so it holds them in its hands. Each such printing is noted for each client. No other answer is
# let off.
PAPER_FOR_ENVELOPES = "letters-batch-pdf"


def said(answer: Any) -> str:
    """The text of an answer without its addresses, names of styles and scripts, and tokens."""
    text = answer.content.decode(errors="replace")
    text = re.sub(r"<(script|style)\b.*?</\1>", " ", text, flags=re.S)
    # A token is drawn for each answer from letters and figures: now and then it begins with "mL".
    text = re.sub(r'(name="csrfmiddlewaretoken" value|"X-CSRFToken": ?)"\w+"', " ", text)
    return re.sub(r'\b(href|action|src|class|id|for|hx-[a-z-]+)="[^"]*"', " ", text)


def test_no_page_shows_the_front_desk_a_clinical_word(
    desk: Browser, cast: Cast, rich: dict[str, Any]
) -> None:
    seen = []
    for name, address in pages(rich):
        if name == PAPER_FOR_ENVELOPES:
            continue
        answer = desk.get(address)
        if answer.status_code != 200:
            continue
        seen.append(name)
        text = said(answer)
        found = [word for word in CLINICAL_TEXT if re.search(rf"\b{re.escape(word)}", text)]
        assert not (set(found) - WORDS_OF_THE_FRAME.get(name, set())), (name, found)
    assert {"day-sheet", "recalls", "wait-list", "calendar", "reminders", "today", "client"} <= set(
        seen
    )
    assert {"opening", "authorisations", "reminder-consents", "appointment", "feeds"} <= set(seen)
    assert {"letters-to-send", "letters-batch", "letters-sent", "letters-sent-again"} <= set(seen)


# Words that a page says of itself, to everybody, and not of a client.
WORDS_OF_THE_FRAME = {"client-new": {"girth"}, "client-edit": {"girth"}}


def test_the_walk_would_find_the_words_where_they_may_be_read(
    therapist: Browser, rich: dict[str, Any]
) -> None:
    text = said(therapist.get(reverse("client", args=[rich["person"].pk])))
    assert "armpit" in text
    assert "blisters behind the elbow" in text


@pytest.mark.parametrize("whose", ["therapist", "room"])
def test_no_feed_holds_a_clinical_word_or_a_name(
    lead: Browser, rich: dict[str, Any], whose: str
) -> None:
    held = rich["appointment"]
    of = f"t{held.therapist_id}" if whose == "therapist" else f"r{held.room_id}"
    page = lead.post(reverse("feeds"), {"of": of}).content.decode()
    address = re.search(r"http://testserver(/feeds/[\w-]+\.ics)", page)[1]
    text = Browser().get(address).content.decode().replace("\r\n ", "")
    assert "M. Å." in text
    hidden = (*CLINICAL_TEXT, "Marguerite", "Ångström", "555-0142", "Treatment", "Tr ")
    assert not [word for word in hidden if word in text]


def test_a_front_desk_never_reaches_clinical_rows(
    desk: Browser, cast: Cast, rich: dict[str, Any]
) -> None:
    """What may not be seen is not fetched: no girth, no diagnosis, no precaution."""
    assert not may(cast.front_desk, "episodes.see")
    for name in ("day-sheet", "recalls", "wait-list", "reminders", "calendar"):
        with CaptureQueriesContext(connection) as ran:
            desk.get(reverse(name))
        selected = " ".join(query["sql"].split(" FROM ")[0] for query in ran)
        for column in ("diagnosis", "cause", "referral_reason", "girth_cm", '"precaution"'):
            assert column not in selected, (name, column)
