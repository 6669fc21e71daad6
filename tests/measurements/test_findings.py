"""Findings, the suggested stage and the therapist's decision."""

from datetime import date, timedelta

import pytest
from django.db import IntegrityError, transaction
from django.test import Client as Browser
from django.urls import reverse

from clinic.audit.models import Entry
from clinic.clients.models import AffectedRegion
from clinic.common.vocabulary import Stage
from measurements.limb.staging import Elevation, Findings, Pitting
from measurements.models import LimbFindings
from measurements.selectors.findings import findings_history, latest_findings
from measurements.services.findings import (
    Decision,
    FoundOnImpossible,
    OverrideWithoutReason,
    record_findings,
)
from tests.builders import make_client, make_episode, today
from tests.cast import Cast

# ISL, lymphaticnetwork.org: stage I subsides with elevation, stage II rarely does.
SUBSIDES = Findings(swelling_visible=True, pitting=Pitting.TWO, elevation=Elevation.YES)

TYPED = {
    "swelling_visible": "yes",
    "elevation": "yes",
    "pitting": "2+",
    "stemmer": "negative",
    "fibrosis": "none",
    "symptoms": ["heaviness", "tightness"],
    "stage": "I",
    "note": "Softer at the elbow",
}


@pytest.fixture
def region(cast: Cast) -> AffectedRegion:
    return make_episode(make_client(), cast.therapist).regions.get()


def typed(**differences: object) -> dict[str, object]:
    return TYPED | {"found_on": today().isoformat()} | differences


def keep(region: AffectedRegion, cast: Cast, **differences: object) -> LimbFindings:
    values = {"found_on": today(), "stage": Stage.I} | differences
    return record_findings(
        region=region, findings=SUBSIDES, decision=Decision(**values), by=cast.therapist
    )


# The rules


def test_a_confirmed_stage_keeps_the_suggestion_and_its_findings(
    region: AffectedRegion, cast: Cast
) -> None:
    kept = keep(region, cast, override_reason="not needed")
    assert (kept.suggested_stage, kept.stage) == ("I", "I")
    assert "pitting 2+" in kept.suggested_because
    assert kept.override_reason == ""
    assert Entry.objects.get(verb="stage.decided").client == region.episode.client


def test_another_stage_than_suggested_needs_a_reason(region: AffectedRegion, cast: Cast) -> None:
    with pytest.raises(OverrideWithoutReason):
        keep(region, cast, stage=Stage.II, override_reason="  ")
    kept = keep(region, cast, stage=Stage.II, override_reason="swells again within the hour")
    assert (kept.suggested_stage, kept.stage) == ("I", "II")


def test_the_database_too_refuses_an_override_without_reason(
    region: AffectedRegion, cast: Cast
) -> None:
    kept = keep(region, cast)
    kept.pk, kept.stage = None, Stage.III
    kept._state.adding = True
    with pytest.raises(IntegrityError, match="override_has_reason"), transaction.atomic():
        kept.save()


@pytest.mark.parametrize("found_on", [date(1900, 1, 1), today() + timedelta(days=1)])
def test_findings_cannot_be_of_a_day_that_cannot_be(
    region: AffectedRegion, cast: Cast, found_on: date
) -> None:
    with pytest.raises(FoundOnImpossible):
        keep(region, cast, found_on=found_on)


def test_every_look_is_kept_latest_first(region: AffectedRegion, cast: Cast) -> None:
    keep(region, cast, found_on=today() - timedelta(days=30))
    keep(region, cast, stage=Stage.II, override_reason="firmer than it pits")
    assert [look.stage for look in findings_history(region)] == [Stage.II, Stage.I]
    assert latest_findings([region])[region.pk].is_overridden


# The pages


def test_findings_are_recorded_and_shown_in_words(
    therapist: Browser, region: AffectedRegion
) -> None:
    response = therapist.post(reverse("findings-new", args=[region.pk]), typed(), follow=True)
    page = response.content.decode()
    assert "stage I" in page
    assert "heaviness, tightness" in page
    assert "Softer at the elbow" in page


def test_the_form_names_the_site_of_the_stemmer_sign_and_the_pitting_scale(
    therapist: Browser, region: AffectedRegion
) -> None:
    page = therapist.get(reverse("findings-new", args=[region.pk])).content.decode()
    assert "base of the second finger" in page
    assert "Other sources print 2, 4, 6, 8 mm" in page
    assert "licensed therapist decides" in page


def test_an_override_without_reason_says_what_was_suggested_and_keeps_what_was_typed(
    therapist: Browser, region: AffectedRegion
) -> None:
    response = therapist.post(reverse("findings-new", args=[region.pk]), typed(stage="III"))
    page = response.content.decode()
    assert response.status_code == 200
    assert "These findings suggest stage I." in page
    assert "Softer at the elbow" in page
    assert not LimbFindings.objects.exists()


def test_bad_input_is_answered_beside_its_field_and_stays(
    therapist: Browser, region: AffectedRegion
) -> None:
    wrong = typed(swelling_visible="", found_on="yesterday-ish", note="kept words")
    page = therapist.post(reverse("findings-new", args=[region.pk]), wrong).content.decode()
    assert "Say whether swelling can be seen." in page
    assert "yesterday-ish" in page
    assert "kept words" in page


def test_a_day_to_come_is_answered_in_words(therapist: Browser, region: AffectedRegion) -> None:
    tomorrow = (today() + timedelta(days=1)).isoformat()
    page = therapist.post(
        reverse("findings-new", args=[region.pk]), typed(found_on=tomorrow)
    ).content.decode()
    assert "Choose today or an earlier day" in page


def test_the_live_suggestion_says_why_and_what_is_missing(
    therapist: Browser, region: AffectedRegion
) -> None:
    asked = typed(fibrosis="not_tested")
    response = therapist.post(
        reverse("findings-suggest", args=[region.pk]), asked, headers={"HX-Request": "true"}
    )
    fragment = response.content.decode()
    assert "stage I</b>" in fragment
    assert "elevation reduces it" in fragment
    assert "Not tested: fibrosis" in fragment
    assert "<html" not in fragment
    assert not LimbFindings.objects.exists()


def test_without_scripts_the_suggestion_comes_with_the_whole_page_and_keeps_what_was_typed(
    therapist: Browser, region: AffectedRegion
) -> None:
    page = therapist.post(reverse("findings-suggest", args=[region.pk]), typed()).content.decode()
    assert "stage I</b>" in page
    assert "Softer at the elbow" in page
    assert "<html" in page


def test_the_suggestion_is_never_read_by_get(therapist: Browser, region: AffectedRegion) -> None:
    assert therapist.get(reverse("findings-suggest", args=[region.pk])).status_code == 405


@pytest.mark.parametrize(("name", "method"), [("findings", "post"), ("findings-new", "delete")])
def test_pages_answer_no_other_method(
    therapist: Browser, region: AffectedRegion, name: str, method: str
) -> None:
    assert getattr(therapist, method)(reverse(name, args=[region.pk])).status_code == 405


@pytest.mark.parametrize("name", ["findings", "findings-new"])
def test_the_front_desk_sees_no_findings(desk: Browser, region: AffectedRegion, name: str) -> None:
    assert desk.get(reverse(name, args=[region.pk])).status_code == 403
