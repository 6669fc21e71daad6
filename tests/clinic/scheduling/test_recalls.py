"""Who is due: the rules by themselves, then the list over a practice."""

from datetime import date
from typing import Any
from uuid import UUID

import pytest
from dateutil.relativedelta import relativedelta
from django.test import Client as Browser
from django.urls import reverse

from clinic.audit.models import Entry
from clinic.clients.models import Client, PhaseChange
from clinic.common.vocabulary import Phase
from clinic.scheduling.models import RecallSchedule, RecallSnooze
from clinic.scheduling.recalls import (
    Ask,
    BookedFacts,
    CareFacts,
    ClientFacts,
    Cover,
    Recall,
    recalls_of,
)
from clinic.scheduling.selectors import recalls as recall_selectors
from clinic.scheduling.selectors.recalls import recall_lines
from clinic.scheduling.states import Status
from clinic.scheduling.words import Purpose, RecallReason
from tests.builders import make_client, make_episode, make_protocol, make_session
from tests.cast import Cast
from tests.clinic.scheduling.desk_stories import (
    days,
    kind,
    make_appointment,
    make_authorisation,
    today,
)
from tests.programmes.garments import garment

MARCH = date(2026, 3, 2)


def care(**differences: Any) -> CareFacts:
    values = {
        "opened_on": date(2025, 1, 6),
        "phase": Phase.SURVEILLANCE,
        "phase_since_on": date(2025, 1, 6),
        "last_taped_on": date(2025, 12, 2),
        "every_months": None,
        "treatments_done": 0,
    }
    return CareFacts(**values | differences)


def due(*episodes: CareFacts, on: date = MARCH, **facts: Any) -> list[Recall]:
    return recalls_of(ClientFacts(episodes=episodes, **facts), Ask(on, ahead_days=0))


def reasons(found: list[Recall]) -> set[RecallReason]:
    return {recall.reason for recall in found}


# Prospective surveillance every three months: Stout Gergich et al., Cancer 2008;112:2809-2819.
def test_surveillance_is_due_three_months_after_the_last_taping_and_not_a_day_before() -> None:
    assert due(care(), on=date(2026, 3, 1)) == []
    assert due(care()) == [Recall(RecallReason.REMEASUREMENT, MARCH)]


@pytest.mark.parametrize(
    ("taped_on", "due_on"),
    [(date(2025, 11, 30), date(2026, 2, 28)), (date(2023, 11, 30), date(2024, 2, 29))],
)
def test_three_months_end_on_the_last_day_of_a_short_month(taped_on: date, due_on: date) -> None:
    assert due(care(last_taped_on=taped_on))[0].due_on == due_on


def test_another_number_of_months_stands_in_place_of_the_usual() -> None:
    assert due(care(every_months=6)) == []
    assert due(care(every_months=2))[0].due_on == date(2026, 2, 2)


def test_nobody_measured_yet_is_counted_from_the_opening() -> None:
    opened_on = MARCH - relativedelta(months=3)
    assert due(care(last_taped_on=None, opened_on=opened_on))[0].due_on == MARCH


def test_a_booked_measuring_day_answers_the_recall_and_a_treatment_does_not() -> None:
    later_on = MARCH + days(20)
    assert due(care(), booked=BookedFacts(next_on=later_on, next_measuring_on=later_on)) == []
    assert due(care(), booked=BookedFacts(next_on=later_on)) != []


# At least one progress report in every 10 treatment days: CMS Medicare Benefit Policy Manual
# (Pub. 100-02), chapter 15, 220.3 D. Told two visits ahead: common practice, no source.
@pytest.mark.parametrize(
    ("done", "is_due"),
    [(0, False), (7, False), (8, True), (9, True), (10, True), (11, False), (18, True), (20, True)],
)
def test_a_progress_report_is_told_before_each_tenth_visit(done: int, is_due: bool) -> None:
    found = due(care(phase=Phase.MAINTENANCE, last_taped_on=MARCH, treatments_done=done))
    assert (RecallReason.PROGRESS_REPORT in reasons(found)) is is_due


def test_an_intensive_phase_without_a_future_booking_is_told() -> None:
    intensive = care(phase=Phase.INTENSIVE)
    held_on = MARCH - days(3)
    assert due(intensive, booked=BookedFacts(last_held_on=held_on)) == [
        Recall(RecallReason.NOTHING_BOOKED, held_on)
    ]
    assert due(intensive, booked=BookedFacts(next_on=MARCH + days(1))) == []


def test_a_missed_time_is_told_until_something_is_booked_after_it() -> None:
    missed = BookedFacts(last_freed_on=MARCH - days(2), last_held_on=MARCH - days(9))
    assert due(booked=missed) == [Recall(RecallReason.MISSED, MARCH - days(2))]
    assert due(booked=BookedFacts(missed.last_freed_on, last_held_on=MARCH + days(5))) == []
    assert due(booked=missed, is_discharged=True) == []
    old = BookedFacts(last_freed_on=MARCH - days(400))
    assert due(booked=old) == []


# Warn at 3 left and 14 days before the end: common practice, no source.
@pytest.mark.parametrize(
    ("used", "booked", "to_on", "is_due"),
    [
        (4, 4, MARCH + days(60), False),
        (5, 4, MARCH + days(60), True),
        (0, 0, MARCH + days(15), False),
        (0, 0, MARCH + days(14), True),
        (12, 3, MARCH + days(60), True),
        (0, 0, MARCH - days(30), True),
        (0, 0, MARCH - days(31), False),
    ],
)
def test_an_authorisation_is_told_when_visits_or_days_run_out(
    used: int, booked: int, to_on: date, is_due: bool
) -> None:
    cover = Cover(MARCH - days(90), to_on, 12, used, booked)
    found = recalls_of(ClientFacts(cover=cover), Ask(MARCH))
    assert (RecallReason.AUTHORISATION in reasons(found)) is is_due


# The list


def lines(cast: Cast) -> dict[tuple[UUID, RecallReason], Any]:
    found = recall_lines(cast.front_desk, Ask(today()))
    return {(line.client_id, line.recall.reason): line for line in found}


@pytest.fixture
def person(cast: Cast) -> Client:
    return make_client(phone="555-0142")


def test_the_list_counts_from_the_last_session_that_was_not_struck_out(
    cast: Cast, person: Client
) -> None:
    episode = make_episode(person, cast.therapist, phase=Phase.SURVEILLANCE)
    protocol = make_protocol()
    make_session(episode, protocol, taken_on=today() - relativedelta(months=4))
    struck = make_session(episode, protocol, taken_on=today() - days(3))
    struck.struck_at, struck.struck_by = struck.recorded_at, cast.therapist
    struck.struck_reason = "wrong client"
    struck.save()
    line = lines(cast)[person.pk, RecallReason.REMEASUREMENT]
    expected = today() - relativedelta(months=4) + relativedelta(months=3)
    assert (line.recall.due_on, line.is_overdue) == (expected, True)
    RecallSchedule.objects.create(episode=episode, every_months=12, by=cast.therapist)
    assert (person.pk, RecallReason.REMEASUREMENT) not in lines(cast)


def test_a_missed_evaluation_of_a_client_without_an_episode_is_on_the_list(
    cast: Cast, person: Client
) -> None:
    on = today() - days(2)
    make_appointment(person, cast.therapist, on, status=Status.NO_SHOW, purpose=Purpose.EVALUATION)
    line = lines(cast)[person.pk, RecallReason.MISSED]
    assert (line.recall.due_on, line.phone) == (on, "555-0142")
    make_appointment(person, cast.therapist, today() + days(4))
    assert not lines(cast)


def test_treatments_count_from_the_opening_of_the_episode(cast: Cast, person: Client) -> None:
    make_episode(person, cast.therapist, opened_on=today() - days(30))
    for back in range(1, 9):
        make_appointment(person, cast.therapist, today() - days(back), status=Status.DONE)
    make_appointment(person, cast.therapist, today() - days(40), status=Status.DONE)
    make_appointment(person, cast.therapist, today() + days(1))
    line = lines(cast)[person.pk, RecallReason.PROGRESS_REPORT]
    assert line.recall.count == 8


def test_a_discharged_or_deactivated_client_is_not_recalled(cast: Cast, person: Client) -> None:
    episode = make_episode(person, cast.therapist)
    make_appointment(person, cast.therapist, today() - days(2), status=Status.NO_SHOW)
    make_authorisation(person, cast.front_desk, visits=1)
    assert len(lines(cast)) == 3
    PhaseChange.objects.create(
        episode=episode,
        phase=Phase.DISCHARGED,
        since_on=today(),
        reason="goals met",
        by=cast.therapist,
    )
    assert not lines(cast)


def test_the_number_of_queries_does_not_grow_with_the_clients(
    cast: Cast, django_assert_max_num_queries: Any
) -> None:
    for number in range(6):
        person = make_client(family_name=f"Family{number}")
        make_episode(person, cast.therapist)
        make_appointment(person, cast.therapist, today() - days(number + 1), status=Status.NO_SHOW)
        make_authorisation(person, cast.front_desk, visits=2)
    with django_assert_max_num_queries(9):
        assert len(recall_lines(cast.front_desk, Ask(today()))) == 18


# The pages


def test_the_page_filters_by_reason_and_therapist(
    desk: Browser, cast: Cast, person: Client
) -> None:
    make_episode(person, cast.therapist)
    url = reverse("recalls")
    assert "Ångström" in desk.get(url).content.decode()
    assert "Ångström" in desk.get(url, {"reason": "nothing_booked"}).content.decode()
    assert "Ångström" not in desk.get(url, {"reason": "missed"}).content.decode()
    assert "Ångström" in desk.get(url, {"therapist": cast.therapist.pk}).content.decode()
    assert "Ångström" not in desk.get(url, {"therapist": cast.lead.pk}).content.decode()
    assert desk.get(url, {"reason": "nonsense", "page": "x"}).status_code == 200
    assert desk.post(url).status_code == 405


def test_the_next_page_keeps_the_filter(
    desk: Browser, cast: Cast, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(recall_selectors, "LIST_LENGTH", 1)
    for _ in range(2):
        make_episode(make_client(), cast.therapist)
    page = desk.get(reverse("recalls"), {"reason": "nothing_booked"}).text
    assert '<a href="?reason=nothing_booked&amp;page=2" rel="next">Next page</a>' in page
    assert '<a href="?page=2" rel="next">' in desk.get(reverse("recalls")).text


def test_a_recall_can_be_booked_by_one_click(desk: Browser, cast: Cast, person: Client) -> None:
    make_episode(person, cast.therapist, phase=Phase.SURVEILLANCE, opened_on=date(2025, 1, 6))
    page = desk.get(reverse("recalls")).content.decode()
    link = page.split('aria-label="Book ')[0].rsplit('href="', 1)[1].split('"')[0]
    booking = desk.get(link.replace("&amp;", "&"))
    form = booking.context["form"]
    assert booking.context["chosen"] == person
    assert form["kind"].value() == str(kind(Purpose.REMEASUREMENT).pk)
    assert form["therapist"].value() == str(cast.therapist.pk)


def test_a_snooze_needs_a_reason_and_a_later_day_and_keeps_what_was_typed(
    desk: Browser, cast: Cast, person: Client
) -> None:
    make_episode(person, cast.therapist)
    url = reverse("recall-snooze", args=[person.pk, "nothing_booked"])
    refused = desk.post(url, {"until_on": str(today()), "reason": "on holiday"})
    assert "Choose a day after today" in refused.content.decode()
    assert "on holiday" in refused.content.decode()
    assert "required" in desk.post(url, {"until_on": "2099-01-01", "reason": ""}).content.decode()
    assert not RecallSnooze.objects.exists()
    desk.post(url, {"until_on": str(today() + days(7)), "reason": "on holiday"})
    assert desk.get(reverse("recalls")).context["recalls"].total == 0
    assert "on holiday" in desk.get(reverse("recalls"), {"snoozed": "on"}).content.decode()
    desk.post(reverse("recall-unsnooze", args=[person.pk, "nothing_booked"]))
    assert desk.get(reverse("recalls")).context["recalls"].total == 1
    assert Entry.objects.filter(verb__startswith="recall.", client=person).count() == 2


def test_a_snooze_ends_on_its_day(cast: Cast, person: Client) -> None:
    make_episode(person, cast.therapist)
    RecallSnooze.objects.create(
        client=person,
        recall=RecallReason.NOTHING_BOOKED,
        until_on=today(),
        reason="on holiday",
        by=cast.front_desk,
    )
    assert lines(cast)[person.pk, RecallReason.NOTHING_BOOKED].snoozed_until is None


def test_an_unknown_reason_is_not_found(desk: Browser, person: Client) -> None:
    assert desk.get(reverse("recall-snooze", args=[person.pk, "nonsense"])).status_code == 404


def test_only_clinical_staff_change_the_months(
    desk: Browser, therapist: Browser, cast: Cast, person: Client
) -> None:
    episode = make_episode(person, cast.therapist)
    url = reverse("recall-schedule", args=[episode.pk])
    assert desk.post(url, {"every_months": 6}).status_code == 403
    assert therapist.get(url).status_code == 200
    assert therapist.post(url, {"every_months": 99}).status_code == 200
    assert not RecallSchedule.objects.exists()
    therapist.post(url, {"every_months": 6})
    assert RecallSchedule.objects.get().every_months == 6
    therapist.post(url, {"every_months": ""})
    assert not RecallSchedule.objects.exists()


# A garment lasts about six months (tests/programmes/compression); the plateau asks for new ones.
def test_garments_are_due_until_a_fitting_is_booked() -> None:
    worn = care(garment_due_on=days_before(3))
    assert RecallReason.GARMENT in reasons(due(worn))
    assert RecallReason.GARMENT not in reasons(due(care(garment_due_on=MARCH + days(1))))
    level = care(phase=Phase.INTENSIVE, level_since_on=days_before(2))
    assert RecallReason.GARMENTS_READY in reasons(due(level))
    fitting = BookedFacts(next_fitting_on=MARCH)
    assert not reasons(due(worn, level, booked=fitting)) & {
        RecallReason.GARMENT,
        RecallReason.GARMENTS_READY,
    }


def test_what_other_parts_of_the_record_say_is_due_stands_on_the_list_once() -> None:
    told = Recall(RecallReason.PLAN_ENDING, MARCH), Recall(RecallReason.PROGRESS_REPORT, MARCH)
    found = due(care(treatments_done=10), told=told)
    assert [recall.reason for recall in found].count(RecallReason.PROGRESS_REPORT) == 1
    assert RecallReason.PLAN_ENDING in reasons(found)


def days_before(number: int) -> date:
    return MARCH - days(number)


def test_a_garment_of_the_record_is_on_the_list_with_its_kind_of_booking(
    desk: Browser, cast: Cast
) -> None:
    episode = make_episode(make_client(), cast.therapist)
    fitting = kind(Purpose.GARMENT_FITTING)
    garment(episode, cast.therapist, issued_on=today() - days(200))
    page = desk.get(reverse("recalls"), {"reason": "garment"}).content.decode()
    assert "Garment replacement due" in page
    assert f"kind={fitting.pk}" in page
