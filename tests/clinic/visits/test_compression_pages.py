"""Bandaging and garment fitting on the girths of the day."""

from datetime import date, timedelta
from typing import Any

import pytest
from django.db import ProgrammingError, transaction
from django.test import Client as Browser
from django.urls import reverse

from clinic.audit.models import Entry
from clinic.clients.models import Episode
from clinic.common.vocabulary import Involvement, Limb, Precaution, Region, RegionSide, Side
from clinic.visits.compression import (
    Carried,
    carried_girths,
    estimate,
    fitting,
    limb_taped,
    usual_limb,
)
from measurements.limb.levels import EndHandling
from programmes.compression.pressure import Bandage
from programmes.models import BandageLayer, BandageRecord
from programmes.selectors.size_charts import charts_to_choose
from tests.builders import (
    ARM_SWOLLEN_CM,
    make_client,
    make_episode,
    make_protocol,
    make_session,
    today,
)
from tests.cast import Cast
from tests.programmes.bodies import has
from tests.programmes.garments import size_chart

pytestmark = pytest.mark.django_db
CHARTS_TEXT = """size,place,level_cm,from_cm,to_cm
S,wrist,0,15,18
S,below the elbow,18,20,25
M,wrist,0,18,20
M,below the elbow,18,25,27
"""


@pytest.fixture
def episode(cast: Cast) -> Episode:
    """A right arm taped today: 18.2 cm at the wrist to 32.5 cm at 40 cm."""
    episode = make_episode(make_client(), cast.therapist)
    make_session(episode, make_protocol(), taken_on=today())
    return episode


@pytest.fixture
def leg(cast: Cast) -> Episode:
    regions = [(Region.LEG, RegionSide.LEFT, Involvement.SWOLLEN)]
    episode = make_episode(make_client(), cast.therapist, regions=regions)
    protocol = make_protocol(
        limb=Limb.LEG,
        levels_cm=[10, 20, 30],
        start_landmark="sole of the foot",
        end_handling=EndHandling.EXCLUDED,
    )
    make_session(episode, protocol, taken_on=today(), left_cm=[25, 35, 60], right_cm=[22, 30, 50])
    return episode


def new_page(episode: Episode, limb: str = "arm", side: str = "right") -> str:
    return f"{reverse('bandaging-new', args=[episode.pk])}?limb={limb}&side={side}"


def rows(*wound: tuple[str, str, str, str], **differences: str) -> dict[str, str]:
    """What the form sends: bandage, width, pull, layers; empty rows as a browser sends them."""
    sent = {"applied_on": today().isoformat(), "note": "", "act": "keep"}
    for at in range(8):
        material, width, pull, layers = wound[at] if at < len(wound) else ("", "", "", "")
        sent |= {
            f"b{at}-material": material,
            f"b{at}-width_cm": width,
            f"b{at}-tension_kgf": pull,
            f"b{at}-layers": layers,
            f"b{at}-from_cm": "",
            f"b{at}-to_cm": "",
        }
    return sent | {name.replace("__", "-"): value for name, value in differences.items()}


SHORT_STRETCH = ("short stretch", "10", "0.5", "2")


# From the tape to the pressure


def test_the_pressure_at_each_station_follows_from_todays_girths(episode: Episode) -> None:
    found = limb_taped(episode, Limb.ARM, Side.RIGHT, until_on=today())
    shown = estimate(found, [Bandage("short stretch", 10, 0.5, 2)])
    assert shown is not None
    # P = 4620 N T / (C W), S. Thomas 2002, worked by hand at the girths of the builder's arm.
    worked = [4620 * 2 * 0.5 / (girth * 10) for girth in ARM_SWOLLEN_CM]
    assert [row.station.pressure_mmhg for row in shown.rows] == pytest.approx(worked[::-1])
    assert shown.gradient.is_graduated
    assert shown.rows[-1].label == "0 cm"


def test_a_session_of_a_later_day_does_not_change_an_earlier_estimate(
    episode: Episode, cast: Cast
) -> None:
    earlier = today() - timedelta(days=7)
    assert limb_taped(episode, Limb.ARM, Side.RIGHT, until_on=earlier) is None
    make_session(episode, make_protocol(), taken_on=earlier, right_cm=[40.0] * 11)
    found = limb_taped(episode, Limb.ARM, Side.RIGHT, until_on=earlier)
    assert found is not None
    assert set(found.girths.girths_cm) == {40.0}


def test_the_girths_are_read_in_a_fixed_number_of_queries(
    episode: Episode, django_assert_num_queries: Any
) -> None:
    for days in (7, 14, 21):
        make_session(episode, make_protocol(), taken_on=today() - timedelta(days=days))
    with django_assert_num_queries(5):
        limb_taped(episode, Limb.ARM, Side.RIGHT, until_on=today())


def test_the_usual_limb_is_the_one_the_episode_treats(leg: Episode) -> None:
    assert usual_limb(leg) == (Limb.LEG, Side.LEFT)


# The bandaging page


def test_estimating_shows_pressures_and_keeps_nothing(therapist: Browser, episode: Episode) -> None:
    page = therapist.post(new_page(episode), rows(SHORT_STRETCH, act="estimate")).text
    assert "<b>25</b> mmHg" in page  # 4620 x 2 x 0.5 / (18.2 x 10) = 25.4
    assert "Pressure falls or stays level going up the limb." in page
    assert "An estimate, not a measured pressure" in page
    assert "Sensors read lower than the formula everywhere" in page
    assert '<svg viewBox="0 0' in page
    assert not BandageRecord.objects.exists()


def test_a_rise_going_up_is_said_in_words_and_marked_in_the_drawing(
    therapist: Browser, episode: Episode
) -> None:
    wound = rows(("narrow", "10", "0.4", "2"), ("more", "10", "0.6", "2"), b1__from_cm="20")
    page = therapist.post(new_page(episode), wound | {"act": "estimate"}).text
    assert "Pressure rises going up the limb" in page
    assert "Higher than the station below" in page
    assert "▲</text>" in page


def test_a_bandaging_is_kept_without_its_pressures_and_shown_with_them(
    therapist: Browser, episode: Episode
) -> None:
    sent = rows(("stocking tube", "8", "0,1", "1"), SHORT_STRETCH, note="Hand in mitten")
    answer = therapist.post(new_page(episode), sent)
    record = BandageRecord.objects.get()
    assert answer.url == reverse("bandage", args=[record.pk])
    assert [(one.material, float(one.tension_kgf)) for one in record.layers.all()] == [
        ("stocking tube", 0.1),
        ("short stretch", 0.5),
    ]
    page = therapist.get(answer.url).text
    assert "<b>29</b> mmHg" in page  # 25.38 + 4620 x 1 x 0.1 / (18.2 x 8) = 28.56
    assert "Hand in mitten" in page
    assert Entry.objects.filter(verb="bandage.recorded", client=episode.client).count() == 1


def test_the_next_bandaging_begins_as_the_last(therapist: Browser, episode: Episode) -> None:
    therapist.post(new_page(episode), rows(SHORT_STRETCH))
    page = therapist.get(new_page(episode)).text
    assert 'value="short stretch"' in page
    assert '<option value="2" selected>' in page
    other = therapist.get(new_page(episode, side="left")).text
    assert "short stretch" not in other


@pytest.mark.parametrize(
    ("wound", "message"),
    [
        (rows(("short stretch", "", "0.5", "2")), "Type the width in cm."),
        (rows(("", "10", "0.5", "2")), "Say which bandage."),
        (rows(("short stretch", "10", "", "2")), "Type the pull in kgf"),
        (rows(("short stretch", "10", "0.5", "")), "Choose how often it lies over a place."),
        (rows(("short stretch", "0", "0.5", "2")), "greater than or equal to 1"),
        (rows(("short stretch", "300", "0.5", "2")), "less than or equal to 30"),
        (rows(("short stretch", "10", "firm", "2")), "Type a number."),
        (rows(("short stretch", "10", "50", "2")), "less than or equal to 5"),
        (rows(SHORT_STRETCH, b0__from_cm="20", b0__to_cm="10"), "must lie above the level"),
        (rows(SHORT_STRETCH, applied_on="2096-01-01"), "This day is still to come."),
        (rows(SHORT_STRETCH, applied_on="2020-01-01"), "before the day it was opened"),
        (rows(), "Enter at least one bandage."),
    ],
)
def test_bad_input_is_told_and_kept(
    therapist: Browser, episode: Episode, wound: dict[str, str], message: str
) -> None:
    page = therapist.post(new_page(episode), wound | {"note": "as typed"}).text
    assert message in page
    assert 'value="as typed"' in page
    assert not BandageRecord.objects.exists()


def test_an_index_that_bars_compression_keeps_nothing(therapist: Browser, leg: Episode) -> None:
    sent = rows(SHORT_STRETCH, abpi="0.55")
    page = therapist.post(new_page(leg, "leg", "left"), sent).text
    assert "An ABPI of 0.55 is below 0.6: no compression." in page
    assert not BandageRecord.objects.exists()


def test_a_low_index_is_said_with_the_record(therapist: Browser, leg: Episode) -> None:
    sent = rows(SHORT_STRETCH, abpi="0,7")
    page = therapist.post(new_page(leg, "leg", "left"), sent, follow=True).text
    assert "ABPI 0.6 to 0.8: reduced pressure only" in page


def test_an_arm_is_not_asked_for_the_index_of_a_leg(therapist: Browser, episode: Episode) -> None:
    assert "ABPI of this leg" not in therapist.get(new_page(episode)).text
    assert "ABPI below 0.6" not in therapist.get(new_page(episode)).text


def test_an_open_precaution_against_compression_stands_above_the_form(
    therapist: Browser, episode: Episode, cast: Cast
) -> None:
    has(episode, Precaution.ARTERIAL_DISEASE, cast.therapist)
    has(episode, Precaution.NECK_MASS, cast.therapist)
    page = therapist.get(new_page(episode)).text
    assert "Arterial disease of the limb</b>" in page
    assert "neck mass" not in page.lower()


def test_without_girths_the_page_asks_to_measure(therapist: Browser, cast: Cast) -> None:
    bare = make_episode(make_client(), cast.therapist)
    page = therapist.post(new_page(bare), rows(SHORT_STRETCH, act="estimate")).text
    assert "No girths of the right arm yet" in page
    assert reverse("girths-enter", args=[bare.pk]) in page


def test_a_kept_bandaging_stays(therapist: Browser, episode: Episode) -> None:
    therapist.post(new_page(episode), rows(SHORT_STRETCH))
    for change in (
        lambda: BandageRecord.objects.update(note="other"),
        lambda: BandageLayer.objects.update(layers=8),
        lambda: BandageLayer.objects.all().delete(),
    ):
        with pytest.raises(ProgrammingError), transaction.atomic():
            change()


def test_the_list_offers_the_limb_and_links_each_record(
    therapist: Browser, episode: Episode
) -> None:
    listed = reverse("bandaging", args=[episode.pk])
    assert "No bandaging is recorded in this episode." in therapist.get(listed).text
    therapist.post(new_page(episode), rows(SHORT_STRETCH))
    page = therapist.get(listed).text
    assert reverse("bandage", args=[BandageRecord.objects.get().pk]) in page


@pytest.mark.parametrize("name", ["bandaging", "bandaging-new", "garment-fitting"])
def test_the_front_desk_sees_none_of_it(desk: Browser, episode: Episode, name: str) -> None:
    assert desk.get(reverse(name, args=[episode.pk])).status_code == 403


def test_nor_a_record(desk: Browser, therapist: Browser, episode: Episode) -> None:
    therapist.post(new_page(episode), rows(SHORT_STRETCH))
    record = BandageRecord.objects.get()
    assert desk.get(reverse("bandage", args=[record.pk])).status_code == 403


def test_looking_takes_no_post(therapist: Browser, episode: Episode) -> None:
    assert therapist.post(reverse("bandaging", args=[episode.pk])).status_code == 405
    assert therapist.post(reverse("garment-fitting", args=[episode.pk])).status_code == 405
    assert therapist.put(new_page(episode)).status_code == 405


# Fitting a garment


def fitting_page(browser: Browser, episode: Episode, **asked: str) -> str:
    return browser.get(reverse("garment-fitting", args=[episode.pk]), asked).text


def test_todays_girths_are_carried_and_the_place_outside_is_named(
    therapist: Browser, episode: Episode, cast: Cast
) -> None:
    """18.2 cm at the wrist lies in M; 18 cm up, halfway from 26.3 to 27.5, is 26.9 cm, in M."""
    size_chart(cast.lead, CHARTS_TEXT)
    page = fitting_page(therapist, episode)
    assert "Size M" in page
    assert "between two taped positions" in page
    assert "26.9" in page
    tight = CHARTS_TEXT.replace("25,27", "25,26")
    size_chart(cast.lead, tight, name="Tight")
    chart = next(one for one in charts_to_choose(Limb.ARM) if one.name == "Tight")
    page = fitting_page(therapist, episode, chart=str(chart.pk))
    assert "Made to measure" in page
    assert "0.9\N{NARROW NO-BREAK SPACE}cm above" in page


def test_a_typed_girth_goes_before_the_taped_one(
    therapist: Browser, episode: Episode, cast: Cast
) -> None:
    size_chart(cast.lead, CHARTS_TEXT)
    page = fitting_page(therapist, episode, place0="16,5", place1="21")
    assert "Size S" in page
    assert 'value="16,5"' in page
    assert '<td class="ps-3">typed here</td>' in page


def test_a_girth_that_is_no_number_is_told_and_kept(
    therapist: Browser, episode: Episode, cast: Cast
) -> None:
    size_chart(cast.lead, CHARTS_TEXT)
    page = fitting_page(therapist, episode, place0="wide")
    assert "Type a number." in page
    assert 'value="wide"' in page
    assert "Size M" in page


@pytest.mark.parametrize(
    ("raw", "landmark", "why"),
    [
        (CHARTS_TEXT.replace("elbow,18", "elbow,55"), "Ulnar  styloid", Carried.NOT_REACHED),
        (CHARTS_TEXT.replace("elbow,18", "elbow,"), "ulnar styloid", Carried.NO_LEVEL),
        (CHARTS_TEXT, "tip of the middle finger", Carried.OTHER_START),
    ],
)
def test_a_girth_is_never_carried_to_a_place_it_was_not_taped_at(
    episode: Episode, cast: Cast, raw: str, landmark: str, why: Carried
) -> None:
    chart = size_chart(cast.lead, raw, start_landmark=landmark)
    found = limb_taped(episode, Limb.ARM, Side.RIGHT, until_on=today())
    carried = carried_girths(chart, found, {})
    assert (carried[1].girth_cm, carried[1].how) == (None, why)
    held = fitting(chart, carried)
    assert held.fit is None or held.fit.not_measured == ("below the elbow",)


def test_without_a_chart_the_girths_are_carried_for_an_order_made_to_measure(
    therapist: Browser, episode: Episode
) -> None:
    page = fitting_page(therapist, episode)
    assert "No size chart for the arm yet" in page
    assert "32.5" in page
    assert Entry.objects.filter(verb="garment.fitting", client=episode.client).count() == 1


def test_without_girths_the_form_asks_to_measure(therapist: Browser, cast: Cast) -> None:
    bare = make_episode(make_client(), cast.therapist)
    size_chart(cast.lead, CHARTS_TEXT)
    page = fitting_page(therapist, bare)
    assert "No girth to hold against the chart" in page
    assert "Measure the arm" in page


def test_an_unknown_limb_or_chart_in_the_address_falls_back(
    therapist: Browser, episode: Episode, cast: Cast
) -> None:
    size_chart(cast.lead, CHARTS_TEXT)
    page = fitting_page(therapist, episode, limb="tail", side="up", chart="none")
    assert "Garment fitting, right arm" in page
    assert "Size M" in page


def test_the_record_of_a_day_before_the_tape_has_no_estimate(
    therapist: Browser, episode: Episode
) -> None:
    sent = rows(SHORT_STRETCH, applied_on=date(2026, 1, 6).isoformat())
    page = therapist.post(new_page(episode), sent, follow=True).text
    assert "No girths of the right arm yet" in page


def test_rows_grow_with_what_was_entered(therapist: Browser, episode: Episode) -> None:
    assert "b4-material" in therapist.get(new_page(episode)).text
    full = rows(*[SHORT_STRETCH] * 7, act="estimate")
    page = therapist.post(new_page(episode), full).text
    assert 'name="b8-material"' in page
    assert page.count('value="short stretch"') == 7
