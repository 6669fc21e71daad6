"""The clinic's services, phrases and rules for charting, kept by the clinic lead."""

import json
from datetime import date
from pathlib import Path

import pytest
from django.test import Client as Browser
from django.urls import reverse

from clinic.audit.models import Entry
from clinic.visits.lists import ChartingRules, Phrase, Service
from clinic.visits.phrases import check
from clinic.visits.presets import PHRASES
from clinic.visits.selectors.lists import services_on
from clinic.visits.selectors.notes import visit_desk
from clinic.visits.timing import TimingRule
from tests.cast import Cast
from tests.clinic.visits.charting import ready, service, treated

pytestmark = pytest.mark.django_db

PAGES = ["charting-services", "charting-service-new", "charting-phrases", "charting-phrase-new"]


def fields(**differences: str) -> dict[str, str]:
    values = {"code": "97150", "name": "group", "is_timed": "", "active_from": "2026-01-01"}
    return values | {"active_until": ""} | differences


def test_a_new_clinic_has_every_code_of_the_worked_cases(published: Path) -> None:
    cases = json.loads((published / "timed_units.json").read_text())["cases"]
    codes = {code for case in cases for code in case["timed_minutes"]}
    timed = set(Service.objects.filter(is_timed=True).values_list("code", flat=True))
    assert codes <= timed
    assert not service("97016").is_timed


@pytest.mark.parametrize("text", [text for _, _, text in PHRASES])
def test_a_preset_phrase_has_only_blanks_that_mean_something(text: str) -> None:
    check(text)


@pytest.mark.parametrize("page", [*PAGES, "charting-rules"])
def test_only_the_clinic_lead_keeps_the_lists(
    lead: Browser, therapist: Browser, desk: Browser, page: str
) -> None:
    assert lead.get(reverse(page)).status_code == 200
    assert {each.get(reverse(page)).status_code for each in (therapist, desk)} == {403}


def test_a_service_is_added_and_logged(lead: Browser) -> None:
    assert lead.post(reverse("charting-service-new"), fields()).status_code == 302
    assert Service.objects.get(code="97150").active_from == date(2026, 1, 1)
    assert Entry.objects.filter(verb="service.kept").count() == 1


@pytest.mark.parametrize(
    ("wrong", "sentence"),
    [
        ({"code": "97140"}, "Another service in use has this code."),
        ({"active_until": "2025-12-31"}, "A service cannot end before it begins."),
        ({"name": ""}, "This field is required."),
    ],
)
def test_a_service_that_cannot_be_is_refused_and_stays_on_screen(
    lead: Browser, wrong: dict[str, str], sentence: str
) -> None:
    page = lead.post(reverse("charting-service-new"), fields(**wrong)).content.decode()
    assert sentence in page
    assert 'value="2026-01-01"' in page


def test_a_service_that_ended_is_offered_only_on_its_days(lead: Browser) -> None:
    kept = service("97035")
    address = reverse("charting-service", args=[kept.pk])
    what = fields(code="97035", name="ultrasound", active_until="2026-03-31")
    assert lead.post(address, what).status_code == 302
    assert kept in services_on(date(2026, 3, 31))
    assert kept not in services_on(date(2026, 4, 1))


def test_a_phrase_with_an_unknown_blank_is_refused_with_its_name(lead: Browser) -> None:
    what = {"section": "plan", "name": "Odd", "text": "See you {some_day}."}
    page = lead.post(reverse("charting-phrase-new"), what).content.decode()
    assert "{some_day} means nothing here." in page
    assert "See you {some_day}." in page
    assert lead.post(reverse("charting-phrase-new"), what | {"text": "On {next_on}."}).url
    kept = Phrase.objects.get(name="Odd")
    lead.post(reverse("charting-phrase-remove", args=[kept.pk]))
    assert not Phrase.objects.filter(name="Odd").exists()


def test_the_rule_of_the_clinic_counts_the_units_of_drafts(lead: Browser, cast: Cast) -> None:
    # Two services of 20 minutes: 3 units by the day's total, 2 by the midpoint rule
    # (tests/published/timed_units.json, manual_2).
    note = ready(cast.therapist, typed={"treatments": treated(("97112", 20), ("97110", 20))})
    assert visit_desk(note, cast.therapist).treatment.count.timed_units == 3
    what = {"timing_rule": "midpoint", "report_every_days": "10", "certified_days": "90"}
    assert lead.post(reverse("charting-rules"), what).status_code == 302
    assert ChartingRules.objects.get().timing_rule == TimingRule.MIDPOINT
    assert visit_desk(note, cast.therapist).treatment.count.timed_units == 2
    wrong = lead.post(reverse("charting-rules"), what | {"certified_days": "3"})
    assert wrong.status_code == 200
    assert ChartingRules.objects.get().certified_days == 90
