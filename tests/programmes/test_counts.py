"""The clinic's own counts: inside the ranges shown, and what a new programme begins with."""

import pytest
from django.test import Client as Browser
from django.urls import reverse

from programmes.body.dose import DEFAULT_DOSE
from programmes.body.errors import DoseOutOfRange
from programmes.body.steps import steps_of
from programmes.selectors.drafts import clinic_dose
from programmes.services.care import keep_dose
from programmes.services.drafts import begin_programme
from tests.cast import Cast
from tests.programmes.bodies import arm_episode

pytestmark = pytest.mark.django_db

DEFAULTS = {name: str(count.default) for name, count in DEFAULT_DOSE.counts().items()}


def test_until_the_clinic_sets_its_own_the_leaflets_counts_hold(cast: Cast) -> None:
    assert clinic_dose() == DEFAULT_DOSE


def test_a_new_programme_begins_with_the_clinics_counts(lead: Browser, cast: Cast) -> None:
    page = lead.get(reverse("clinic-counts")).text
    assert "Leaflets 5 to 15, taught 8 to 10" in page
    lead.post(reverse("clinic-counts"), DEFAULTS | {"basin": "8"})
    drafted = begin_programme(episode=arm_episode(cast.therapist), by=cast.therapist)
    circled = [step for step in steps_of(drafted.steps) if step.node == "axilla_right"]
    circled = circled or [step for step in steps_of(drafted.steps) if "axilla" in str(step.node)]
    assert circled
    assert {step.repetitions for step in circled} == {8}


def test_a_count_outside_both_ranges_is_refused_beside_its_field(lead: Browser) -> None:
    page = lead.post(reverse("clinic-counts"), DEFAULTS | {"basin": "40"}).text
    assert "less than or equal to 15" in page
    assert 'value="40"' in page
    assert clinic_dose() == DEFAULT_DOSE


def test_the_service_refuses_it_as_well(cast: Cast) -> None:
    with pytest.raises(DoseOutOfRange):
        keep_dose(counts={"basin": 40}, by=cast.lead)


def test_only_the_lead_sets_the_counts(therapist: Browser, desk: Browser) -> None:
    assert therapist.get(reverse("clinic-counts")).status_code == 403
    assert desk.get(reverse("clinic-counts")).status_code == 403
