"""The projection behind the caseload: kept with every change, found out when it is not."""

from datetime import date, timedelta
from decimal import Decimal
from io import StringIO
from math import pi

import pytest
from django.core.management import call_command

from clinic.clients.editing import said_by
from clinic.clients.models import AffectedRegion, Episode
from clinic.clients.selectors import episodes_for
from clinic.clients.services import edit_episode
from clinic.common.vocabulary import Involvement, Limb, Posture, Region, RegionSide, Side
from measurements.kept_standing import KeptStanding
from measurements.limb.comparison import Verdict
from measurements.limb.girth import Reading
from measurements.models import Protocol
from measurements.selectors.reports import latest_by_episode
from measurements.selectors.standings import kept_standings, reckoned_standings
from measurements.services.record import record_session, set_baseline, strike_session
from measurements.services.standings import keep_standings
from measurements.standing import Standing
from measurements.taped import Confirmed, SessionTaped, TapedFacts
from tests.builders import (
    ARM_LEVELS_CM,
    make_client,
    make_episode,
    make_protocol,
    make_session,
    today,
)
from tests.cast import Cast

LENGTH_CM = float(ARM_LEVELS_CM[-1])


BOTH_ARMS = [
    (Region.ARM, side, Involvement.SWOLLEN) for side in (RegionSide.LEFT, RegionSide.RIGHT)
]


def cylinder_ml(girth_cm: float) -> float:
    """Volume of a cylinder from its girth: length times girth squared over 4 pi. Geometry."""
    return LENGTH_CM * girth_cm**2 / (4 * pi)


@pytest.fixture
def protocol(db: None) -> Protocol:
    return make_protocol()


@pytest.fixture
def episode(cast: Cast) -> Episode:
    return make_episode(make_client(), cast.therapist)


def tape(  # type: ignore[no-untyped-def]
    episode: Episode,
    protocol: Protocol,
    days_ago: int,
    right_cm: float,
    left_cm: float,
    *,
    weight_kg: float | None = 70,
):
    """Record, through the service, two limbs that are cylinders."""
    facts = TapedFacts(
        Limb.ARM,
        protocol.pk,
        today() - timedelta(days=days_ago),
        Posture.SITTING,
        weight_kg=None if weight_kg is None else Decimal(weight_kg),
    )
    girths = {Side.RIGHT: right_cm, Side.LEFT: left_cm}
    readings = tuple(
        Reading(side, float(level), girth)
        for side, girth in girths.items()
        for level in ARM_LEVELS_CM
    )
    every = frozenset((each.side, each.level_cm) for each in readings)
    taped = SessionTaped(facts, tuple(girths), readings, confirmed=Confirmed(girths=every))
    return record_session(episode=episode, taped=taped, by=episode.therapist)


def kept(episode: Episode) -> list[Standing]:
    keys = Episode.objects.filter(pk=episode.pk).values("pk")
    return kept_standings(keys, with_points=True)[episode.pk]


def verified() -> tuple[int, str]:
    said = StringIO()
    try:
        call_command("verify_standings", stdout=said, stderr=said)
    except SystemExit as ended:
        return int(ended.code or 0), said.getvalue()
    return 0, said.getvalue()


def test_a_recorded_session_is_kept_with_its_excess_and_what_changed(
    episode: Episode, protocol: Protocol
) -> None:
    tape(episode, protocol, 60, 31.0, 28.0)
    tape(episode, protocol, 30, 29.0, 28.0)
    tape(episode, protocol, 0, 30.5, 28.0)
    (standing,) = kept(episode)
    excess = [cylinder_ml(girth) - cylinder_ml(28.0) for girth in (31.0, 29.0, 30.5)]
    assert standing.value_ml == pytest.approx(excess[2])
    assert standing.percent == pytest.approx(100 * excess[2] / cylinder_ml(28.0))
    assert standing.verdict is Verdict.BEYOND_ERROR_UP
    assert standing.before
    assert standing.before.change_ml == pytest.approx(excess[2] - excess[1])
    assert standing.baseline
    assert standing.baseline.change_ml == pytest.approx(excess[2] - excess[0])
    assert standing.is_worse
    assert not standing.is_since_baseline
    assert [ml for _, ml in standing.points] == pytest.approx(excess)


def test_a_rise_too_small_from_one_session_to_the_next_is_told_since_the_baseline(
    episode: Episode, protocol: Protocol
) -> None:
    for days_ago, girth_cm in ((90, 29.0), (60, 29.2), (30, 29.4), (0, 29.6)):
        tape(episode, protocol, days_ago, girth_cm, 28.0)
    (standing,) = kept(episode)
    assert standing.before
    assert standing.before.verdict is Verdict.WITHIN_ERROR
    assert standing.is_worse
    assert standing.is_since_baseline


def test_striking_and_another_baseline_are_followed(episode: Episode, protocol: Protocol) -> None:
    first = tape(episode, protocol, 60, 29.0, 28.0)
    second = tape(episode, protocol, 30, 31.0, 28.0)
    third = tape(episode, protocol, 0, 30.0, 28.0)
    set_baseline(session=second, by=episode.therapist)
    (standing,) = kept(episode)
    assert standing.baseline
    assert standing.baseline.since_on == second.taken_on
    strike_session(session=third, reason="Wrong client", by=episode.therapist)
    (standing,) = kept(episode)
    assert standing.session_id == second.pk
    assert standing.before
    assert standing.before.since_on == first.taken_on
    for session in (first, second):
        strike_session(session=session, reason="Wrong client", by=episode.therapist)
    assert kept(episode) == []


def test_another_affected_side_turns_the_excess_round(
    episode: Episode, protocol: Protocol, cast: Cast
) -> None:
    tape(episode, protocol, 0, 30.0, 28.0)
    left = AffectedRegion(region=Region.ARM, side=RegionSide.LEFT, involvement=Involvement.SWOLLEN)
    seen = episodes_for(cast.therapist).get(pk=episode.pk)
    edit_episode(episode=seen, regions=[left], before=said_by(seen, ["cause"]), by=cast.therapist)
    (standing,) = kept(episode)
    assert standing.side is Side.LEFT
    assert standing.value_ml == pytest.approx(cylinder_ml(28.0) - cylinder_ml(30.0))


def test_in_bilateral_disease_the_limb_that_did_worse_is_told(
    cast: Cast, protocol: Protocol
) -> None:
    episode = make_episode(make_client(), cast.therapist, regions=BOTH_ARMS)
    tape(episode, protocol, 30, 31.0, 28.0)
    tape(episode, protocol, 0, 31.0, 30.0)
    (standing,) = kept(episode)
    assert (standing.is_excess, standing.side) == (False, Side.LEFT)
    assert standing.value_ml == pytest.approx(cylinder_ml(30.0))
    assert standing.is_worse
    assert [ml for _, ml in standing.points] == pytest.approx(
        [cylinder_ml(28.0), cylinder_ml(30.0)]
    )


# Both arms as cylinders of 30 cm, then of 29 cm: volume times (29/30)^2, 6.6 % less.
@pytest.mark.parametrize(
    ("weights_kg", "is_better", "is_by_weight"),
    [
        ((80, 80), True, False),
        ((80, 75), False, True),  # a person of 6.3 % less: nothing of it is the limb's own
        ((75, 80), True, False),
        ((80, None), True, False),
        ((None, 75), True, False),
    ],
)
def test_in_bilateral_disease_a_limb_is_better_only_if_it_holds_beside_weight(
    cast: Cast,
    protocol: Protocol,
    weights_kg: tuple[float | None, float | None],
    *,
    is_better: bool,
    is_by_weight: bool,
) -> None:
    episode = make_episode(make_client(), cast.therapist, regions=BOTH_ARMS)
    for days_ago, girth_cm, kg in zip((30, 0), (30.0, 29.0), weights_kg, strict=True):
        tape(episode, protocol, days_ago, girth_cm, girth_cm, weight_kg=kg)
    (standing,) = kept(episode)
    assert standing.before
    assert standing.before.change_ml == pytest.approx(cylinder_ml(29.0) - cylinder_ml(30.0))
    assert (standing.is_better, standing.before.is_by_weight) == (is_better, is_by_weight)
    assert not standing.is_worse
    assert verified() == (0, "All standings are what the girths give.\n")


def test_a_rise_of_both_limbs_stays_urgent_whatever_weight_did(
    cast: Cast, protocol: Protocol
) -> None:
    """Fluid kept by the heart weighs too: a cause in the whole body is not to be explained away."""
    episode = make_episode(make_client(), cast.therapist, regions=BOTH_ARMS)
    tape(episode, protocol, 10, 29.0, 29.0, weight_kg=70)
    tape(episode, protocol, 0, 31.0, 31.0, weight_kg=80)
    (standing,) = kept(episode)
    assert not standing.is_worse
    assert standing.both_rose
    assert standing.is_sudden_rise


def test_a_standing_kept_by_the_rule_without_weight_is_found_and_rebuilt(
    cast: Cast, protocol: Protocol
) -> None:
    episode = make_episode(make_client(), cast.therapist, regions=BOTH_ARMS)
    tape(episode, protocol, 30, 30.0, 30.0, weight_kg=80)
    tape(episode, protocol, 0, 29.0, 29.0, weight_kg=75)
    KeptStanding.objects.update(before_verdict=Verdict.BEYOND_ERROR_DOWN)
    assert verified()[0] == 1
    call_command("rebuild_standings", stdout=StringIO())
    assert verified()[0] == 0
    assert not kept(episode)[0].is_better


def test_a_standing_says_what_the_sessions_report_says(
    episode: Episode, protocol: Protocol
) -> None:
    for month in range(1, 4):
        make_session(episode, protocol, taken_on=date(2026, month, 5), is_baseline=month == 1)
    keep_standings([episode.pk])
    (standing,), (report,) = kept(episode), latest_by_episode([episode])[episode.pk]
    assert report.comparison
    assert report.since_previous
    assert report.since_previous.excess
    assert (standing.value_ml, standing.verdict) == (
        report.comparison.excess_ml,
        report.comparison.verdict,
    )
    assert standing.before
    assert standing.before.verdict is report.since_previous.excess.verdict
    assert standing == reckoned_standings([episode])[episode.pk, Limb.ARM]


def test_the_check_finds_what_was_altered_missing_or_left_over_and_rebuilding_mends_it(
    episode: Episode, protocol: Protocol, cast: Cast
) -> None:
    tape(episode, protocol, 0, 30.0, 28.0)
    other = make_episode(make_client(), cast.therapist)
    tape(other, protocol, 0, 30.0, 28.0)
    assert verified()[0] == 0
    KeptStanding.objects.filter(episode=episode).update(value_ml=0, verdict="within_error")
    KeptStanding.objects.filter(episode=other).delete()
    code, said = verified()
    assert code == 1
    assert str(episode.pk) in said
    assert str(other.pk) in said
    call_command("rebuild_standings", stdout=StringIO())
    assert verified()[0] == 0
    row = KeptStanding.objects.get(episode=other)
    row.pk, row.limb = None, Limb.LEG
    row.save()
    assert verified()[0] == 1
