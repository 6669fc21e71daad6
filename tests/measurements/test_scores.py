"""Outcome scores: what is kept, what is refused, and where each series stands."""

from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.db import DatabaseError, IntegrityError, connection, transaction
from pytest_django import DjangoAssertNumQueries

from clinic.audit.models import Entry
from clinic.clients.models import Episode
from clinic.common.vocabulary import Side
from measurements.limb.instruments import SPECS, Instrument, Part
from measurements.limb.score_change import Meaning, Trend
from measurements.limb.score_errors import (
    NothingScored,
    PlaceUnknown,
    ScoredOnImpossible,
    ScoreOutOfRange,
    ScoreStruck,
)
from measurements.models import OutcomeScore
from measurements.score_drawing import score_drawing
from measurements.scored import ScoresTaken, Series
from measurements.selectors.scores import latest_scores, score_history
from measurements.services.scores import record_scores, strike_score
from tests.builders import make_client, make_episode, today
from tests.cast import Cast
from tests.measurements.score_builders import FLEXION, GRIP_RIGHT, LLIS, keep_score

THEN, NOW = timedelta(days=30), timedelta(days=0)


@pytest.fixture
def episode(cast: Cast) -> Episode:
    return make_episode(make_client(), cast.therapist)


# Keeping


def test_a_score_is_kept_as_given_and_logged_once(episode: Episode, cast: Cast) -> None:
    row = keep_score(episode, today(), GRIP_RIGHT, "24.3")
    row.refresh_from_db()
    assert (row.instrument, row.side, row.score) == ("grip", "right", Decimal("24.3"))
    entry = Entry.objects.get(verb="scores.recorded")
    assert (entry.by, entry.client) == (cast.therapist, episode.client)


def test_a_page_sent_twice_is_kept_once(episode: Episode) -> None:
    first = keep_score(episode, today(), GRIP_RIGHT, "24.3")
    assert keep_score(episode, today(), GRIP_RIGHT, "24.3") == first
    assert OutcomeScore.objects.count() == 1
    keep_score(episode, today(), GRIP_RIGHT, "25")
    assert OutcomeScore.objects.count() == 2


@pytest.mark.parametrize("on", [date(1900, 1, 1), today() + timedelta(days=1)])
def test_a_day_that_cannot_be_is_refused(episode: Episode, on: date) -> None:
    with pytest.raises(ScoredOnImpossible):
        keep_score(episode, on, LLIS, "20")
    assert not OutcomeScore.objects.exists()


def test_absurd_misplaced_and_empty_scores_are_refused(episode: Episode, cast: Cast) -> None:
    for series, score, error in (
        (LLIS, "-1", ScoreOutOfRange),
        (LLIS, "100.1", ScoreOutOfRange),
        (FLEXION, "221", ScoreOutOfRange),
        (Series(Instrument.GRIP), "20", PlaceUnknown),
    ):
        with pytest.raises(error):
            keep_score(episode, today(), series, score)
    with pytest.raises(NothingScored):
        record_scores(episode=episode, taken=ScoresTaken(today(), ()), by=cast.therapist)
    assert not OutcomeScore.objects.exists()


# The database


@pytest.mark.parametrize(
    ("differences", "constraint"),
    [
        ({"instrument": "guess"}, "score_within_its_range"),
        ({"score": Decimal("-0.1")}, "score_within_its_range"),
        ({"score": Decimal("100.1")}, "score_within_its_range"),
        ({"side": "left"}, "score_side_is_known"),
        ({"instrument": "grip"}, "score_side_is_known"),
        ({"instrument": "grip", "side": "both"}, "score_side_is_known"),
        ({"part": "knee"}, "score_part_is_known"),
    ],
)
def test_the_database_too_refuses_what_cannot_be(
    episode: Episode, differences: dict[str, object], constraint: str
) -> None:
    values = {
        "episode": episode,
        "instrument": Instrument.LLIS_2,
        "score": Decimal(20),
        "scored_on": today(),
        "scored_by": episode.therapist,
    }
    with pytest.raises(IntegrityError, match=constraint), transaction.atomic():
        OutcomeScore.objects.create(**values | differences)


def test_a_kept_score_refuses_edits_and_deletion(episode: Episode) -> None:
    row = keep_score(episode, today(), LLIS, "20")
    for act in (
        lambda: OutcomeScore.objects.update(score=21),
        lambda: OutcomeScore.objects.update(note="no"),
        lambda: OutcomeScore.objects.filter(pk=row.pk).delete(),
    ):
        with pytest.raises(DatabaseError, match="Cannot"), transaction.atomic():
            act()
    row.refresh_from_db()
    assert row.score == 20


@pytest.mark.django_db
def test_the_table_of_scores_refuses_to_be_emptied() -> None:
    with pytest.raises(DatabaseError, match="TRUNCATE is refused"), transaction.atomic():
        connection.cursor().execute("TRUNCATE measurements_outcomescore")


def test_every_range_of_the_registry_holds_in_the_database(episode: Episode) -> None:
    for instrument, spec in SPECS.items():
        values = {
            "episode": episode,
            "instrument": instrument,
            "side": Side.LEFT if spec.is_per_side else "",
            "scored_on": today(),
            "scored_by": episode.therapist,
        }
        OutcomeScore.objects.create(**values, score=Decimal(str(spec.highest)))
        with pytest.raises(IntegrityError), transaction.atomic():
            OutcomeScore.objects.create(**values, score=Decimal(str(spec.highest)) + 1)


# Striking out


def test_a_struck_score_stays_and_counts_nowhere(episode: Episode, cast: Cast) -> None:
    first = keep_score(episode, today() - THEN, LLIS, "60")
    keep_score(episode, today() - NOW, LLIS, "40")
    strike_score(score=first, reason="other client", by=cast.therapist)
    (series,) = score_history(episode)
    assert [row.point.striking is not None for row in series.rows] == [True, False]
    assert series.rows[0].point.striking.reason == "other client"
    (standing,) = latest_scores(episode)
    assert standing.baseline == standing.latest
    assert standing.verdict is None
    assert Entry.objects.filter(verb="scores.struck").count() == 1


def test_a_score_is_struck_once_and_stays_so(episode: Episode, cast: Cast) -> None:
    row = keep_score(episode, today(), LLIS, "60")
    strike_score(score=row, reason="typed twice", by=cast.therapist)
    with pytest.raises(ScoreStruck):
        strike_score(score=row, reason="again", by=cast.lead)
    with pytest.raises(DatabaseError, match="Cannot update"), transaction.atomic():
        OutcomeScore.objects.update(struck_at=None, struck_by=None, struck_reason="")


def test_striking_needs_a_reason_in_the_database_too(episode: Episode, cast: Cast) -> None:
    row = keep_score(episode, today(), LLIS, "60")
    with pytest.raises(IntegrityError, match="score_striking_has_reason"), transaction.atomic():
        strike_score(score=row, reason="", by=cast.therapist)


# Where each series stands


def test_a_standing_gives_latest_baseline_change_and_meaning(episode: Episode) -> None:
    """Rehabil Oncol 2018;36:28-36: 7.27 matters, 12.74 is beyond error."""
    for days, score in ((60, "60"), (30, "55"), (0, "45.5")):
        keep_score(episode, today() - timedelta(days=days), LLIS, score)
    (standing,) = latest_scores(episode)
    assert (standing.baseline.score, standing.latest.score) == (Decimal("60"), Decimal("45.5"))
    assert standing.change == -14.5
    assert standing.verdict.meaning is Meaning.MATTERS
    assert standing.verdict.trend is Trend.BETTER
    assert standing.meaning == "better: matters"


def test_sides_parts_and_activities_are_never_mixed(episode: Episode) -> None:
    same = ("reach a shelf", "carry the shopping", "sleep")
    for series in (
        GRIP_RIGHT,
        Series(Instrument.GRIP, Side.LEFT),
        Series(Instrument.PAIN, part=Part.NOW),
        Series(Instrument.PAIN, part=Part.MEAN),
        Series(Instrument.FUNCTION, activities=same),
        Series(Instrument.FUNCTION, activities=(*same[:2], "drive")),
    ):
        keep_score(episode, today(), series, "5")
    found = latest_scores(episode)
    assert len(found) == 6
    assert all(standing.verdict is None for standing in found)
    assert [each.series.instrument for each in found] == sorted(
        (each.series.instrument for each in found), key=list(Instrument).index
    )


def test_scores_entered_late_take_their_day_in_the_order(episode: Episode) -> None:
    keep_score(episode, today(), LLIS, "40")
    keep_score(episode, today() - THEN, LLIS, "60")
    (standing,) = latest_scores(episode)
    assert (standing.baseline.score, standing.latest.score) == (60, 40)


def test_reading_costs_one_query_however_many_scores(
    episode: Episode, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    for days in range(12):
        on = today() - timedelta(days=days)
        keep_score(episode, on, GRIP_RIGHT, str(20 + days))
        keep_score(episode, on, LLIS, str(30 + days))
    with django_assert_num_queries(1):
        assert len(latest_scores(episode)) == 2


def test_a_raised_ratio_names_its_limit(cast: Cast) -> None:
    """DOI 10.1089/lrb.2010.0014: 1.134 for the dominant arm at risk, 1.106 for the other."""
    episode = make_episode(make_client(), cast.therapist, dominant_hand=Side.LEFT)
    keep_score(episode, today(), Series(Instrument.IMPEDANCE, Side.RIGHT, Part.ARM), "1.12")
    keep_score(episode, today(), Series(Instrument.IMPEDANCE, Side.LEFT, Part.ARM), "1.12")
    limits = {each.series.side: each.limit for each in latest_scores(episode)}
    assert (limits[Side.RIGHT].limit, limits[Side.RIGHT].is_above) == (1.106, True)
    assert (limits[Side.LEFT].limit, limits[Side.LEFT].is_above) == (1.134, False)


# The drawing


def test_the_band_is_the_larger_limit_on_both_sides_of_the_baseline(episode: Episode) -> None:
    """Rehabil Oncol 2018;36:28-36: the larger is 12.74."""
    for days, score in ((60, "60"), (0, "45.5")):
        keep_score(episode, today() - timedelta(days=days), LLIS, score)
    (series,) = score_history(episode)
    drawing = score_drawing(series)
    assert drawing.band.limit == 12.74
    assert drawing.band.y + drawing.band.height / 2 == pytest.approx(drawing.baseline_y)
    inside = [
        drawing.band.y <= mark.y <= drawing.band.y + drawing.band.height for mark in drawing.marks
    ]
    assert inside == [True, False]
    assert [mark.is_filled for mark in drawing.marks] == [True, True]
    assert all(
        0 <= mark.x <= drawing.width and 0 <= mark.y <= drawing.height for mark in drawing.marks
    )


def test_a_score_inside_the_band_is_drawn_open(episode: Episode) -> None:
    """Rehabil Oncol 2018;36:28-36: 10 points matter (7.27) but lie within error (12.74)."""
    for days, score in ((60, "60"), (0, "50")):
        keep_score(episode, today() - timedelta(days=days), LLIS, score)
    (series,) = score_history(episode)
    assert [mark.is_filled for mark in score_drawing(series).marks] == [True, False]


def test_one_score_draws_no_trend_and_no_limit_draws_no_band(episode: Episode) -> None:
    ratio = Series(Instrument.TISSUE_WATER, Side.RIGHT, Part.FOREARM)
    keep_score(episode, today() - THEN, ratio, "1.3")
    (series,) = score_history(episode)
    assert score_drawing(series) is None
    keep_score(episode, today(), ratio, "1.2")
    (series,) = score_history(episode)
    assert score_drawing(series).band is None


def test_the_same_day_twice_still_draws(episode: Episode) -> None:
    keep_score(episode, today(), LLIS, "60")
    keep_score(episode, today(), LLIS, "60.5")
    (series,) = score_history(episode)
    assert len(score_drawing(series).marks) == 2
