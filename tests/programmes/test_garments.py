"""Garments: what is kept, what is refused, what is due, what the client is told."""

from datetime import date, timedelta
from typing import Any

import pytest
from django.db import IntegrityError, ProgrammingError, transaction
from django.test import Client as Browser
from django.urls import reverse

from clinic.audit.models import Entry
from clinic.clients.models import Episode
from clinic.common.vocabulary import Phase, RegionSide
from programmes.applied import Seen
from programmes.compression.classes import ClassSystem
from programmes.compression.words import (
    BodyPart,
    EndReason,
    FitSeen,
    Worn,
    WornBy,
    wear_words,
)
from programmes.errors import DaysCross, DayStillToCome, GarmentEnded
from programmes.models import FitCheck, Garment, Programme
from programmes.selectors.garments import garments_of, replacement_of_episode, wear_text
from programmes.services import issue as issuing
from programmes.services.drafts import begin_programme
from programmes.services.garments import change_garment, check_fit, end_garment
from programmes.services.issue import issue_programme
from tests.builders import make_client, make_episode, today
from tests.cast import Cast
from tests.programmes.bodies import arm_episode
from tests.programmes.body.reading import grade
from tests.programmes.garments import garment

pytestmark = pytest.mark.django_db


@pytest.fixture
def episode(cast: Cast) -> Episode:
    return make_episode(make_client(), cast.therapist, phase=Phase.MAINTENANCE)


def fields(**differences: Any) -> dict[str, Any]:
    sent = {
        "part": "arm",
        "side": "right",
        "worn_by": "day",
        "make": "ready_made",
        "compression": "ral_arm:2",
        "from_mmhg": "",
        "to_mmhg": "",
        "supplier": "Harbour Supplies",
        "size": "M long",
        "ordered_on": "1 Mar 2026",
        "issued_on": "14 Mar 2026",
        "replacement_due_on": "",
        "cost_note": "payer, 2 of 3 this half-year",
    }
    return sent | differences


# Keeping


def test_a_class_is_kept_with_its_standard_and_its_pressure(
    therapist: Browser, episode: Episode
) -> None:
    answer = therapist.post(reverse("garment-new", args=[episode.pk]), fields())
    assert answer.url == reverse("garments", args=[episode.pk])
    kept = Garment.objects.get()
    assert (kept.class_system, kept.class_name) == (ClassSystem.RAL_ARM, "2")
    assert (kept.from_mmhg, kept.to_mmhg) == (23, 32)
    assert kept.replacement_due_on == date(2026, 9, 14)  # six months, see test_classes
    assert Entry.objects.filter(verb="garment.recorded", client=episode.client).count() == 1


def test_a_makers_own_pressure_is_typed(therapist: Browser, episode: Episode) -> None:
    sent = fields(compression="maker", from_mmhg="18", to_mmhg="22")
    therapist.post(reverse("garment-new", args=[episode.pk]), sent)
    kept = Garment.objects.get()
    assert (kept.class_system, kept.from_mmhg, kept.to_mmhg) == (ClassSystem.MAKER, 18, 22)
    assert kept.pressure_words == "18 to 22 mmHg (maker's own)"


@pytest.mark.parametrize(
    ("wrong", "message"),
    [
        ({"compression": "maker"}, "Type the pressure that the maker states."),
        ({"compression": "maker", "from_mmhg": "30", "to_mmhg": "20"}, "less than the pressure"),
        ({"compression": "maker", "from_mmhg": "900"}, "less than or equal to 100"),
        ({"compression": ""}, "This field is required."),
        ({"side": "midline"}, "Say left or right for this body part."),
        ({"ordered_on": "", "issued_on": ""}, "Type the day it was ordered"),
        ({"issued_on": "1 Feb 2026"}, "This is before the day it was ordered, 1 Mar 2026."),
        ({"issued_on": "1 Feb 2096"}, "This day is still to come."),
        ({"issued_on": "someday"}, "This is not a day."),
        ({"replacement_due_on": "14 Mar 2026"}, "before the day it was issued, 14 Mar 2026"),
    ],
)
def test_bad_input_is_told_beside_the_field_and_kept(
    therapist: Browser, episode: Episode, wrong: dict[str, str], message: str
) -> None:
    page = therapist.post(reverse("garment-new", args=[episode.pk]), fields(**wrong))
    assert page.status_code == 200
    assert message in page.text.replace("&#x27;", "'")
    assert 'value="M long"' in page.text
    assert not Garment.objects.exists()


def test_an_ordered_garment_is_issued_later(
    therapist: Browser, episode: Episode, cast: Cast
) -> None:
    awaited = garment(episode, cast.therapist, ordered_on=date(2026, 3, 1), issued_on=None)
    assert awaited.replacement_due_on is None
    page = therapist.get(reverse("garments", args=[episode.pk])).text
    assert "On order" in page
    shown = therapist.get(reverse("garment-edit", args=[awaited.pk])).text
    assert '<option value="ral_arm:2" selected>' in shown
    therapist.post(reverse("garment-edit", args=[awaited.pk]), fields())
    awaited.refresh_from_db()
    assert awaited.replacement_due_on == date(2026, 9, 14)


def test_a_fit_check_is_kept_as_seen_and_cannot_be_changed(
    therapist: Browser, episode: Episode, cast: Cast
) -> None:
    worn = garment(episode, cast.therapist)
    sent = {"checked_on": "20 Mar 2026", "verdict": "alter", "note": "Rolls at the elbow"}
    therapist.post(reverse("garment-fit", args=[worn.pk]), sent)
    page = therapist.get(reverse("garment", args=[worn.pk])).text
    assert "Rolls at the elbow" in page
    with pytest.raises(ProgrammingError), transaction.atomic():
        FitCheck.objects.update(verdict=FitSeen.FITS)


def test_a_fit_check_before_the_issue_is_refused_beside_its_field(
    therapist: Browser, episode: Episode, cast: Cast
) -> None:
    worn = garment(episode, cast.therapist)
    sent = {"checked_on": "1 Jan 2026", "verdict": "fits", "note": "too early"}
    page = therapist.post(reverse("garment-fit", args=[worn.pk]), sent).text
    assert "before the day it was issued, 2 Mar 2026" in page
    assert "too early" in page


def test_an_ended_garment_stays_and_changes_no_more(
    therapist: Browser, episode: Episode, cast: Cast
) -> None:
    worn = garment(episode, cast.therapist)
    sent = {"ended_on": "1 May 2026", "reason": "size_changed"}
    therapist.post(reverse("garment-end", args=[worn.pk]), sent)
    page = therapist.get(reverse("garments", args=[episode.pk])).text
    assert "the limb&#x27;s size changed" in page
    worn.refresh_from_db()
    for refused in (
        lambda: change_garment(garment=worn, by=cast.therapist),
        lambda: check_fit(garment=worn, seen=Seen(today(), FitSeen.FITS), by=cast.therapist),
        lambda: end_garment(
            garment=worn, ended_on=today(), reason=EndReason.LOST, by=cast.therapist
        ),
    ):
        with pytest.raises(GarmentEnded):
            refused()
    answer = therapist.post(reverse("garment-edit", args=[worn.pk]), fields(), follow=True)
    assert "no longer in use, so nothing about it changes" in answer.text


def test_days_of_use_run_forwards_and_never_into_the_future(episode: Episode, cast: Cast) -> None:
    worn = garment(episode, cast.therapist)
    ended = {"garment": worn, "reason": EndReason.LOST, "by": cast.therapist}
    with pytest.raises(DaysCross):
        end_garment(ended_on=date(2026, 3, 1), **ended)
    with pytest.raises(DayStillToCome):
        end_garment(ended_on=today() + timedelta(days=1), **ended)


@pytest.mark.parametrize(
    "wrong",
    [
        {"part": "elbow"},
        {"side": RegionSide.MIDLINE},
        {"class_name": ""},
        {"from_mmhg": 40, "to_mmhg": 30},
        {"from_mmhg": 0},
    ],
)
def test_the_database_refuses_what_cannot_be(
    episode: Episode, cast: Cast, wrong: dict[str, Any]
) -> None:
    with pytest.raises(IntegrityError), transaction.atomic():
        garment(episode, cast.therapist, **wrong)


def test_the_database_refuses_an_issued_garment_without_a_due_day(
    episode: Episode, cast: Cast
) -> None:
    worn = garment(episode, cast.therapist)
    with pytest.raises(IntegrityError), transaction.atomic():
        Garment.objects.filter(pk=worn.pk).update(replacement_due_on=None)


# Pages


@pytest.mark.parametrize("name", ["garments", "garment-new"])
def test_the_front_desk_sees_no_garment(desk: Browser, episode: Episode, name: str) -> None:
    assert desk.get(reverse(name, args=[episode.pk])).status_code == 403


@pytest.mark.parametrize("name", ["garment", "garment-edit", "garment-fit", "garment-end"])
def test_nor_one_of_them(desk: Browser, episode: Episode, cast: Cast, name: str) -> None:
    worn = garment(episode, cast.therapist)
    assert desk.get(reverse(name, args=[worn.pk])).status_code == 403


def test_looking_takes_no_post(therapist: Browser, episode: Episode, cast: Cast) -> None:
    worn = garment(episode, cast.therapist)
    assert therapist.post(reverse("garments", args=[episode.pk])).status_code == 405
    assert therapist.post(reverse("garment", args=[worn.pk])).status_code == 405
    assert therapist.put(reverse("garment-fit", args=[worn.pk])).status_code == 405


def test_without_a_garment_the_page_says_what_to_do(therapist: Browser, episode: Episode) -> None:
    page = therapist.get(reverse("garments", args=[episode.pk])).text
    assert "No garment is in use. Measure on the plateau, order, and record it here." in page


def test_the_page_of_one_garment_says_what_its_class_means_elsewhere(
    therapist: Browser, episode: Episode, cast: Cast
) -> None:
    page = therapist.get(reverse("garment", args=[garment(episode, cast.therapist).pk])).text
    assert "class 2 also means" in page
    assert "18 to 24 mmHg in BS 6612" in page
    assert "Due to be replaced" in page


def test_looking_is_logged(therapist: Browser, episode: Episode) -> None:
    therapist.get(reverse("garments", args=[episode.pk]))
    assert Entry.objects.filter(verb="garments.seen", client=episode.client).count() == 1


def test_the_list_takes_two_queries_however_many_garments(
    episode: Episode, cast: Cast, django_assert_num_queries: Any
) -> None:
    for _ in range(5):
        worn = garment(episode, cast.therapist)
        check_fit(garment=worn, seen=Seen(date(2026, 4, 1), FitSeen.FITS), by=cast.therapist)
    with django_assert_num_queries(2):
        assert [one.fit_checks.all()[0].checked_by.signature for one in garments_of(episode)]


# Due


def due_of(*episodes: Episode) -> list[date | None]:
    rows = Episode.objects.annotate(due_on=replacement_of_episode())
    found = dict(rows.values_list("pk", "due_on"))
    return [found[episode.pk] for episode in episodes]


def test_an_episode_is_due_by_the_first_of_its_garments(episode: Episode, cast: Cast) -> None:
    garment(episode, cast.therapist, issued_on=date(2026, 3, 2))
    garment(episode, cast.therapist, issued_on=date(2026, 2, 2), worn_by=WornBy.NIGHT)
    other = make_episode(make_client(), cast.therapist)
    garment(other, cast.therapist, issued_on=date(2026, 8, 1))
    bare = make_episode(make_client(), cast.therapist)
    assert due_of(episode, other, bare) == [date(2026, 8, 2), date(2027, 2, 1), None]


@pytest.mark.parametrize("what", ["ended", "awaited", "replaced"])
def test_a_garment_out_of_use_is_not_due(episode: Episode, cast: Cast, what: str) -> None:
    if what == "awaited":
        garment(episode, cast.therapist, ordered_on=date(2026, 1, 5), issued_on=None)
    else:
        worn = garment(episode, cast.therapist, issued_on=date(2026, 1, 5))
        assert due_of(episode) == [date(2026, 7, 5)]
    if what == "ended":
        end_garment(
            garment=worn, ended_on=date(2026, 6, 1), reason=EndReason.LOST, by=cast.therapist
        )
    if what == "replaced":
        garment(episode, cast.therapist, issued_on=date(2026, 6, 1))
    assert date(2026, 7, 5) not in due_of(episode)


# Wear


def test_the_home_programme_begins_with_the_garments_in_use(cast: Cast) -> None:
    episode = arm_episode(cast.therapist)
    garment(episode, cast.therapist, side=RegionSide.LEFT)
    garment(episode, cast.therapist, side=RegionSide.LEFT, worn_by=WornBy.NIGHT, class_name="1")
    draft = begin_programme(episode=episode, by=cast.therapist)
    assert "By day: put on your left sleeve (class 2) in the morning." in draft.wear_schedule
    assert "At night: wear your left sleeve (class 1) in bed." in draft.wear_schedule


def test_without_a_garment_the_usual_words_stand(cast: Cast) -> None:
    episode = arm_episode(cast.therapist)
    assert wear_text(episode) == ""
    draft = begin_programme(episode=episode, by=cast.therapist)
    assert "Put your sleeve on in the morning." in draft.wear_schedule


def test_in_the_intensive_phase_an_older_garment_does_not_take_the_place_of_bandages(
    cast: Cast,
) -> None:
    episode = make_episode(make_client(), cast.therapist, opened_on=date(2026, 5, 4))
    garment(episode, cast.therapist, issued_on=date(2026, 3, 2))
    assert wear_text(episode) == ""
    garment(episode, cast.therapist, issued_on=date(2026, 5, 20))
    assert "right sleeve" in wear_text(episode)


@pytest.fixture
def issued_text(cast: Cast, monkeypatch: pytest.MonkeyPatch) -> Programme:
    """A programme in hand whose wear a therapist wrote."""
    monkeypatch.setattr(issuing, "handout_pdf", lambda handout: b"%PDF-1.7 stand-in")
    draft = begin_programme(episode=arm_episode(cast.therapist), by=cast.therapist)
    Programme.objects.filter(pk=draft.pk).update(wear_schedule="Sleeve on workdays only.")
    return issue_programme(programme=draft, revision=0, by=cast.therapist)


def test_a_later_version_keeps_the_therapists_words(issued_text: Programme, cast: Cast) -> None:
    garment(issued_text.episode, cast.therapist, issued_on=date(2026, 3, 2))
    draft = begin_programme(episode=issued_text.episode, by=cast.therapist)
    assert draft.wear_schedule == "Sleeve on workdays only."


def test_a_garment_issued_since_gives_new_words(issued_text: Programme, cast: Cast) -> None:
    garment(issued_text.episode, cast.therapist, side=RegionSide.LEFT, issued_on=today())
    draft = begin_programme(episode=issued_text.episode, by=cast.therapist)
    assert "left sleeve (class 2)" in draft.wear_schedule


@pytest.mark.parametrize("part", list(BodyPart))
def test_the_words_of_wear_read_at_grade_six_or_below(part: BodyPart) -> None:
    side = RegionSide.MIDLINE if part in {BodyPart.TRUNK, BodyPart.HEAD_NECK} else RegionSide.LEFT
    worn = [Worn(part, side, when, "2") for when in WornBy]
    assert grade(wear_words(worn).replace("\n", " ")) <= 6


def test_several_garments_are_listed_as_a_person_says_them() -> None:
    day = [Worn(part, RegionSide.RIGHT, WornBy.DAY) for part in (BodyPart.ARM, BodyPart.HAND)]
    assert wear_words(day).splitlines()[0] == (
        "By day: put on your right sleeve and right glove in the morning. Take off at night."
    )
    assert wear_words([]) == ""


def test_a_new_garment_begins_with_the_limb_of_the_episode(
    therapist: Browser, episode: Episode
) -> None:
    page = therapist.get(reverse("garment-new", args=[episode.pk])).text
    assert '<option value="arm" selected>' in page
    assert '<option value="right" selected>' in page
