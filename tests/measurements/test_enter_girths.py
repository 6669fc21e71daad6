"""Typing a session: what is kept, asked and refused, and that nothing typed is lost."""

from decimal import Decimal
from typing import Any

import pytest
from django.test import Client as Browser
from django.urls import reverse

from clinic.accounts.models import LengthShown, Practice, WeightShown
from clinic.audit.models import Entry
from clinic.clients.models import Episode
from clinic.common.vocabulary import Involvement, Region, RegionSide
from measurements.limb.levels import EndHandling
from measurements.models import GirthReading, GirthSession, Protocol
from tests.builders import make_client, make_episode, make_protocol, make_session, today
from tests.cast import Cast
from tests.measurements.entry_pages import (
    LEFT_CM,
    RIGHT_CM,
    day_before,
    enter_address,
    girths_typed,
    page_typed,
    recording,
)


@pytest.fixture
def episode(cast: Cast) -> Episode:
    return make_episode(make_client(), cast.therapist)


@pytest.fixture
def protocol(db: None) -> Protocol:
    return make_protocol()


def record(browser: Browser, episode: Episode, protocol: Protocol, **differences: str) -> Any:
    return browser.post(enter_address(episode), recording(protocol, **differences))


def test_the_page_has_a_field_for_each_station_of_both_arms(
    therapist: Browser, episode: Episode, protocol: Protocol
) -> None:
    make_session(episode, protocol, taken_on=day_before(today(), 7))
    page = therapist.get(enter_address(episode)).content.decode()
    assert page.count('class="form-control girth"') == 22
    assert 'aria-label="Right arm, 40 cm"' in page
    assert "32.5\u202fcm" in page  # the last session's girth beside the field


def test_a_typed_session_is_kept_as_taped(
    therapist: Browser, episode: Episode, protocol: Protocol
) -> None:
    answer = record(therapist, episode, protocol)
    session = GirthSession.objects.get()
    assert answer.url == reverse("girths-session", args=[session.pk])
    kept = session.readings.filter(side="right").values_list("girth_cm", flat=True)
    assert [float(girth) for girth in kept] == RIGHT_CM
    assert session.weight_kg == Decimal("70.5")
    assert session.is_baseline
    assert Entry.objects.filter(verb="girths.recorded").count() == 1


def test_the_second_session_is_no_baseline(
    therapist: Browser, episode: Episode, protocol: Protocol
) -> None:
    make_session(
        episode, protocol, taken_on=day_before(today(), 7), is_baseline=True, right_cm=RIGHT_CM
    )
    record(therapist, episode, protocol)
    assert GirthSession.objects.filter(is_baseline=True).count() == 1


@pytest.mark.parametrize(
    ("typed", "kept_cm"),
    [("18,6", "18.60"), (" 18.6 ", "18.60"), ("18,65", "18.65"), ("19", "19.00"), ("19.", "19.00")],
)
def test_decimal_commas_and_points_mean_the_same(
    therapist: Browser, episode: Episode, protocol: Protocol, typed: str, kept_cm: str
) -> None:
    record(therapist, episode, protocol, **{"girth-right-4-1": typed})
    girth = GirthReading.objects.get(side="right", level_cm=4).girth_cm
    assert girth == Decimal(kept_cm)


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        ("eighteen", "is not a number"),
        ("18.6.1", "is not a number"),
        ("nan", "is not a number"),
        ("1e3", "is not a number"),
        ("0", "cannot be a girth"),
        ("-18.6", "cannot be a girth"),
        ("1860", "more than any limb measures"),
    ],
)
def test_a_girth_that_cannot_be_is_refused_beside_its_field_and_stays_typed(
    therapist: Browser, episode: Episode, protocol: Protocol, typed: str, says: str
) -> None:
    answer = record(therapist, episode, protocol, **{"girth-right-4-1": typed})
    page = answer.content.decode()
    beside = page.split('id="ask-right-1"')[1].split("</div>")[0]
    assert answer.status_code == 422
    assert says in beside
    assert f'value="{typed}"' in page
    assert 'value="32.5"' in page
    assert not GirthSession.objects.exists()


def test_an_empty_page_says_that_girths_are_missing(
    therapist: Browser, episode: Episode, protocol: Protocol
) -> None:
    nothing = {name: "" for name in page_typed(protocol) if name.startswith("girth-")}
    answer = record(therapist, episode, protocol, **nothing)
    assert "No girth of the left limb has been typed" in answer.content.decode()
    assert not GirthSession.objects.exists()


def test_a_station_left_open_is_asked_about_and_may_stay_open(
    therapist: Browser, episode: Episode, protocol: Protocol
) -> None:
    typed = {"girth-left-4-1": ""}
    answer = record(therapist, episode, protocol, **typed)
    assert "left: 4 cm" in answer.content.decode()
    assert not GirthSession.objects.exists()
    record(therapist, episode, protocol, **typed, **{"sure-open": "left 4"})
    assert GirthReading.objects.count() == 21


def test_a_yes_to_one_open_station_is_not_a_yes_to_another(
    therapist: Browser, episode: Episode, protocol: Protocol
) -> None:
    typed = {"girth-left-36-1": "", "girth-left-40-1": "", "sure-open": "left 40"}
    assert record(therapist, episode, protocol, **typed).status_code == 422
    assert not GirthSession.objects.exists()


def test_an_unusual_girth_stops_the_saving_until_it_is_confirmed(
    therapist: Browser, episode: Episode, protocol: Protocol
) -> None:
    # The 99.5 percentile of women's wrists is 17.74 cm, tests/published/girth_percentiles.json.
    typed = {"girth-right-0-1": "18.2"}
    answer = record(therapist, episode, protocol, **typed)
    page = answer.content.decode()
    assert "unusual girths are marked below" in page
    assert 'name="sure-right-0" value="18.2"' in page
    assert not GirthSession.objects.exists()
    record(therapist, episode, protocol, **typed, **{"sure-right-0": "18.2"})
    assert GirthReading.objects.get(was_confirmed=True).girth_cm == Decimal("18.2")


def test_arms_typed_under_the_wrong_sides_are_asked_about_before_they_are_kept(
    therapist: Browser, episode: Episode, protocol: Protocol
) -> None:
    """The right arm is the swollen one."""
    exchanged = girths_typed("right", LEFT_CM) | girths_typed("left", RIGHT_CM)
    page = recording(protocol) | exchanged
    refused = therapist.post(enter_address(episode), page)
    assert "check left and right" in refused.content.decode()
    assert not GirthSession.objects.exists()
    # They differ most at 16 cm; confirmed there, they are kept as typed.
    therapist.post(enter_address(episode), page | {"sure-right-16": "23.4"})
    assert GirthReading.objects.get(was_confirmed=True).girth_cm == Decimal("23.4")


def test_a_confirmation_holds_only_for_the_girth_it_was_given_to(
    therapist: Browser, episode: Episode, protocol: Protocol
) -> None:
    typed = {"girth-right-0-1": "18.6", "sure-right-0": "18.2"}
    assert record(therapist, episode, protocol, **typed).status_code == 422


def test_a_girth_where_the_protocol_has_no_station_is_not_dropped_in_silence(
    therapist: Browser, episode: Episode, protocol: Protocol
) -> None:
    answer = record(therapist, episode, protocol, **{"girth-right-44-1": "33.1"})
    page = answer.content.decode()
    assert "1 typed girth would not be recorded" in page
    assert '<input type="hidden" name="girth-right-44-1" value="33.1">' in page
    assert not GirthSession.objects.exists()


def test_up_to_three_tapings_of_a_station_are_kept(
    therapist: Browser, episode: Episode, protocol: Protocol
) -> None:
    more = {"trials": "3", "girth-right-0-2": "17.4", "girth-right-0-3": "17.0"}
    record(therapist, episode, protocol, **more)
    kept = GirthReading.objects.filter(side="right", level_cm=0).values_list("trial", "girth_cm")
    assert {(trial, float(girth)) for trial, girth in kept} == {(1, 17.2), (2, 17.4), (3, 17.0)}


def test_one_limb_may_be_taped_alone(
    therapist: Browser, episode: Episode, protocol: Protocol
) -> None:
    blank = girths_typed("left", [""] * 11)
    record(therapist, episode, protocol, sides="right", **blank)
    assert set(GirthReading.objects.values_list("side", flat=True)) == {"right"}


def test_inches_and_pounds_become_centimetres_and_kilograms(
    therapist: Browser, episode: Episode, protocol: Protocol
) -> None:
    # 1 in = 2.54 cm and 1 lb = 0.45359237 kg exactly: yard and pound agreement, 1959.
    inches = girths_typed("right", [f"{girth / 2.54:.2f}" for girth in RIGHT_CM])
    inches |= girths_typed("left", [f"{girth / 2.54:.2f}" for girth in LEFT_CM])
    units = {"length_unit": "inch", "weight_unit": "lb", "weight": "155"}
    record(therapist, episode, protocol, **(inches | units | {"girth-right-0-1": "6.8"}))
    session = GirthSession.objects.get()
    assert session.weight_kg == Decimal("70.3")
    assert session.readings.get(side="right", level_cm=0).girth_cm == Decimal("17.27")


def test_a_fresh_page_uses_the_units_of_the_practice(
    therapist: Browser, episode: Episode, protocol: Protocol
) -> None:
    Practice.objects.create(length_shown=LengthShown.INCH, weight_shown=WeightShown.LB)
    page = therapist.get(enter_address(episode)).content.decode()
    assert '<option value="inch" selected>' in page
    assert '<option value="lb" selected>' in page


@pytest.mark.parametrize(("weight", "says"), [("heavy", "not a number"), ("705", "cannot weigh")])
def test_a_weight_that_cannot_be_is_refused_beside_its_field(
    therapist: Browser, episode: Episode, protocol: Protocol, weight: str, says: str
) -> None:
    answer = record(therapist, episode, protocol, weight=weight)
    assert says in answer.content.decode()
    assert not GirthSession.objects.exists()


@pytest.mark.parametrize(("shift", "says"), [(1, "still to come"), (-40_000, "was born on")])
def test_a_day_that_cannot_be_is_refused(
    therapist: Browser, episode: Episode, protocol: Protocol, shift: int, says: str
) -> None:
    answer = record(therapist, episode, protocol, taken_on=str(day_before(today(), -shift)))
    assert says in answer.content.decode()
    assert not GirthSession.objects.exists()


def test_a_figure_of_eight_is_kept_in_centimetres_and_no_volume(
    therapist: Browser, episode: Episode
) -> None:
    protocol = make_protocol(end_handling=EndHandling.FIGURE_OF_EIGHT)
    record(therapist, episode, protocol, **{"end-right": "41,5", "end-left": "40"})
    kept = GirthSession.objects.get().end_readings.values_list("side", "figure_of_eight_cm")
    assert dict(kept) == {"left": Decimal("40.0"), "right": Decimal("41.5")}


def test_a_displaced_volume_is_kept_in_millilitres(therapist: Browser, episode: Episode) -> None:
    protocol = make_protocol(end_handling=EndHandling.DISPLACEMENT)
    record(therapist, episode, protocol, **{"end-right": "410"})
    assert GirthSession.objects.get().end_readings.get().displaced_ml == Decimal(410)


@pytest.mark.parametrize("typed", ["none", "0", "-4", "999999"])
def test_a_displaced_volume_that_cannot_be_is_refused(
    therapist: Browser, episode: Episode, typed: str
) -> None:
    protocol = make_protocol(end_handling=EndHandling.DISPLACEMENT)
    answer = record(therapist, episode, protocol, **{"end-right": typed})
    assert answer.status_code == 422
    assert f'value="{typed}"' in answer.content.decode()


def test_changing_the_protocol_keeps_what_was_typed(
    therapist: Browser, episode: Episode, protocol: Protocol
) -> None:
    coarse = make_protocol(levels_cm=[0, 10, 20, 30, 40])
    answer = therapist.post(enter_address(episode), page_typed(coarse) | {"do": "show"})
    page = answer.content.decode()
    assert 'name="girth-right-20-1" value="27.5"' in page  # both protocols have 20 cm
    assert '<input type="hidden" name="girth-right-4-1" value="18.6">' in page
    back = therapist.post(enter_address(episode), page_typed(protocol) | {"do": "show"})
    assert 'name="girth-right-4-1" value="18.6"' in back.content.decode()


def test_a_protocol_retired_meanwhile_is_said_and_nothing_is_lost(
    therapist: Browser, episode: Episode, protocol: Protocol
) -> None:
    retired = make_protocol(retired_at="2026-01-01T00:00Z")
    answer = record(therapist, episode, retired)
    assert "no longer in use" in answer.content.decode()
    assert "18.6" in answer.content.decode()
    assert not GirthSession.objects.exists()


def test_the_same_page_sent_twice_is_one_session(
    therapist: Browser, episode: Episode, protocol: Protocol
) -> None:
    first = record(therapist, episode, protocol)
    second = record(therapist, episode, protocol)
    assert first.url == second.url
    assert GirthSession.objects.count() == 1


def test_the_limb_is_that_of_the_episode(
    therapist: Browser, cast: Cast, protocol: Protocol
) -> None:
    leg = (Region.LEG, RegionSide.LEFT, Involvement.AT_RISK)
    episode = make_episode(make_client(), cast.therapist, regions=[leg])
    page = therapist.get(reverse("girths-enter", args=[episode.pk])).content.decode()
    assert "Leg girths" in page
    assert "at risk" in page


def test_live_volumes_are_those_of_the_published_arm(
    therapist: Browser, episode: Episode, protocol: Protocol
) -> None:
    # tests/published/worked_examples.json, arm-4cm-affected and -unaffected: 2217.081, 1848.018
    # mL, difference 369.063 mL, excess 19.9708 %.
    swollen = [18.2, 19.1, 21.4, 24.0, 26.3, 27.5, 27.8, 28.4, 29.6, 31.2, 32.5]
    typed = page_typed(protocol) | girths_typed("right", swollen)
    page = therapist.post(reverse("girths-live", args=[episode.pk]), typed).content.decode()
    for figure in ("2,217\u202fmL", "1,848\u202fmL", "+369\u202fmL", "+20.0\u202f%"):
        assert figure in page
    assert not GirthSession.objects.exists()


def test_live_answers_say_what_is_wrong_beside_the_field(
    therapist: Browser, episode: Episode, protocol: Protocol
) -> None:
    typed = page_typed(protocol, **{"girth-left-8-1": "x"})
    page = therapist.post(reverse("girths-live", args=[episode.pk]), typed).content.decode()
    beside = page.split('id="ask-left-2" hx-swap-oob="true"')[1].split("</div>")[0]
    assert "is not a number" in beside


def test_the_live_answer_has_the_change_since_the_last_session(
    therapist: Browser, episode: Episode, protocol: Protocol
) -> None:
    make_session(episode, protocol, taken_on=day_before(today(), 7))
    typed = page_typed(protocol)
    page = therapist.post(reverse("girths-live", args=[episode.pk]), typed).content.decode()
    assert "within measurement error" in page


@pytest.mark.parametrize("name", ["girths-enter", "girths-live", "girths-draft"])
def test_the_front_desk_is_refused(desk: Browser, episode: Episode, name: str) -> None:
    assert desk.post(reverse(name, args=[episode.pk])).status_code == 403


@pytest.mark.parametrize(
    ("name", "method"),
    [("girths-enter", "put"), ("girths-live", "get"), ("girths-draft", "get")],
)
def test_other_methods_are_refused(
    therapist: Browser, episode: Episode, name: str, method: str
) -> None:
    assert getattr(therapist, method)(reverse(name, args=[episode.pk])).status_code == 405


def test_without_a_protocol_the_page_says_who_can_help(
    therapist: Browser, episode: Episode
) -> None:
    Protocol.objects.update(retired_at="2026-01-01T00:00Z")
    page = therapist.get(enter_address(episode)).content.decode()
    assert "Ask the clinic lead" in page
