"""Authorised visits: counted, warned about, never in the way."""

from typing import Any

import pytest
from django.test import Client as Browser
from django.urls import reverse

from clinic.audit.models import Entry
from clinic.clients.models import Client
from clinic.scheduling.models import Authorisation
from clinic.scheduling.selectors.authorisations import CoverNote, cover_warnings, standings
from clinic.scheduling.states import Status
from tests.builders import make_client
from tests.cast import Cast
from tests.clinic.scheduling.desk import answers, make_hours, text_of
from tests.clinic.scheduling.desk_stories import (
    days,
    make_appointment,
    make_authorisation,
    today,
)


@pytest.fixture
def person(cast: Cast) -> Client:
    return make_client()


def notes(client: Client, ahead: int = 1) -> list[CoverNote]:
    found = cover_warnings(client, on=today() + days(ahead), today=today())
    return [warning.note for warning in found]


def test_used_booked_and_left_are_counted_and_what_was_missed_is_not(
    cast: Cast, person: Client
) -> None:
    make_authorisation(person, cast.front_desk, visits=12)
    for back in (1, 2, 3):
        make_appointment(person, cast.therapist, today() - days(back), status=Status.DONE)
    make_appointment(person, cast.therapist, today() - days(4), status=Status.NO_SHOW)
    make_appointment(person, cast.therapist, today() - days(40), status=Status.DONE)
    make_appointment(person, cast.therapist, today() + days(2))
    make_appointment(person, cast.therapist, today() + days(3), status=Status.CANCELLED_EARLY)
    make_appointment(make_client(), cast.therapist, today() + days(4))
    (found,) = standings(person, on=today())
    assert (found.cover.used, found.cover.booked, found.cover.left) == (3, 1, 8)


def test_a_visit_booked_under_one_authorisation_counts_for_that_one_only(
    cast: Cast, person: Client
) -> None:
    first = make_authorisation(person, cast.front_desk, number="A")
    second = make_authorisation(person, cast.front_desk, number="B")
    make_appointment(person, cast.therapist, today() + days(2), authorisation=first)
    booked = {one.authorisation.pk: one.cover.booked for one in standings(person, on=today())}
    assert booked == {first.pk: 1, second.pk: 0}


# Warn at 3 left and 14 days before the end: common practice, no source.
@pytest.mark.parametrize(
    ("differences", "expected"),
    [
        ({"visits": 12}, []),
        ({"visits": 3}, [CoverNote.LAST_VISITS]),
        ({"visits": 4}, []),
        ({"to_on": today() + days(14)}, [CoverNote.ENDS_SOON]),
        ({"to_on": today() + days(15)}, []),
        ({"to_on": today()}, [CoverNote.NONE_COVERS]),
        ({"from_on": today() + days(2)}, [CoverNote.NONE_COVERS]),
    ],
)
def test_booking_is_warned_of_what_runs_out(
    cast: Cast, person: Client, differences: dict[str, Any], expected: list[CoverNote]
) -> None:
    make_authorisation(person, cast.front_desk, **differences)
    assert notes(person) == expected


def test_a_client_without_any_authorisation_is_not_warned_about(person: Client) -> None:
    assert notes(person) == []


def test_visits_used_up_warn_and_do_not_stand_in_the_way(
    desk: Browser, cast: Cast, person: Client
) -> None:
    make_authorisation(person, cast.front_desk, visits=1)
    make_appointment(person, cast.therapist, today() + days(2))
    assert notes(person) == [CoverNote.USED_UP]
    page = desk.get(reverse("client-appointment-new", args=[person.pk]))
    assert "All authorised visits are used or booked: Harbour Mutual HM-2071" in text_of(page)
    typed = answers(person, cast) | {"on": f"{today() + days(14):%Y-%m-%d}", "is_deliberate": "on"}
    desk.post(reverse("client-appointment-new", args=[person.pk]), typed)
    assert person.appointments.count() == 2


def test_the_warning_follows_the_day_that_is_typed(
    desk: Browser, cast: Cast, person: Client
) -> None:
    make_authorisation(person, cast.front_desk, to_on=today() + days(30))
    typed = answers(person, cast)
    inside = desk.post(reverse("appointment-cover"), typed | {"on": f"{today() + days(20)}"})
    assert text_of(inside).strip() == ""
    outside = desk.post(reverse("appointment-cover"), typed | {"on": f"{today() + days(40)}"})
    assert "No authorisation covers this day" in text_of(outside)


def test_an_authorisation_sent_without_a_client_is_no_fault(
    desk: Browser, cast: Cast, person: Client
) -> None:
    known = make_authorisation(person, cast.front_desk)
    typed = answers(None, cast) | {"authorisation": known.pk}
    page = desk.post(reverse("appointment-new"), typed)
    assert "Choose who comes." in text_of(page)


def test_a_booking_may_name_the_authorisation_it_counts_under(
    desk: Browser, cast: Cast, person: Client
) -> None:
    make_hours(cast.therapist)
    make_authorisation(person, cast.front_desk, number="A")
    second = make_authorisation(person, cast.front_desk, number="B")
    url = reverse("client-appointment-new", args=[person.pk])
    assert "Counts under" in text_of(desk.get(url))
    others = make_authorisation(make_client(), cast.front_desk, number="C")
    refused = desk.post(url, answers(person, cast) | {"authorisation": others.pk})
    assert "Select a valid choice" in text_of(refused)
    desk.post(url, answers(person, cast) | {"authorisation": second.pk})
    assert person.appointments.get().authorisation == second


TYPED = {
    "payer": "Harbour Mutual",
    "number": "HM-2071",
    "from_on": "2026-03-02",
    "to_on": "2026-05-29",
    "visits": "24",
    "note": "",
}


def test_an_authorisation_is_recorded_corrected_and_shown(
    desk: Browser, cast: Cast, person: Client
) -> None:
    desk.post(reverse("authorisation-new", args=[person.pk]), TYPED)
    kept = Authorisation.objects.get()
    assert (kept.visits, kept.recorded_by) == (24, cast.front_desk)
    url = reverse("authorisation-edit", args=[kept.pk])
    assert desk.get(url).status_code == 200
    desk.post(url, TYPED | {"visits": "30"})
    page = desk.get(reverse("authorisations", args=[person.pk])).content.decode()
    assert "HM-2071" in page
    assert "<b>30</b>" in page
    verbs = list(Entry.objects.filter(client=person).values_list("verb", flat=True))
    assert verbs == ["authorisations.seen", "authorisation.edited", "authorisation.recorded"]


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        ({"to_on": "2026-03-01"}, "must come after"),
        ({"visits": "0"}, "greater than or equal to 1"),
        ({"from_on": "soon"}, "not a day"),
        ({"payer": ""}, "required"),
    ],
)
def test_a_wrong_field_is_told_and_what_was_typed_stays(
    desk: Browser, person: Client, wrong: dict[str, str], says: str
) -> None:
    answer = desk.post(reverse("authorisation-new", args=[person.pk]), TYPED | wrong)
    text = answer.content.decode()
    assert says in text
    assert "HM-2071" in text
    assert not Authorisation.objects.exists()
