"""Reads of outcome scores."""

from collections.abc import Iterator

from django.db.models import QuerySet

from clinic.accounts.models import User
from clinic.clients.models import Episode
from clinic.clients.selectors import episodes_for
from clinic.common.vocabulary import Side
from measurements.limb.instruments import Instrument, Part
from measurements.models import OutcomeScore
from measurements.score_report import (
    ScorePoint,
    ScoreSeries,
    ScoreStanding,
    Striking,
    series_of,
)
from measurements.scored import Series


def scores_for(user: User) -> QuerySet[OutcomeScore]:
    """The scores this person may see, with episode, client and people joined."""
    seen = OutcomeScore.objects.filter(episode__in=episodes_for(user))
    return seen.select_related("episode__client", "scored_by", "struck_by")


def score_history(episode: Episode) -> tuple[ScoreSeries, ...]:
    """Every score of an episode, struck ones too, by series, oldest first. One query."""
    rows = episode.outcome_scores.select_related("scored_by", "struck_by").order_by(
        "scored_on", "recorded_at", "pk"
    )
    return series_of(map(point_of, rows), dominant=dominant_side(episode))


def latest_scores(episode: Episode) -> tuple[ScoreStanding, ...]:
    """Where each series stands: latest, baseline, change and meaning. One query."""
    return tuple(standings(score_history(episode)))


def standings(history: tuple[ScoreSeries, ...]) -> Iterator[ScoreStanding]:
    """Those of the series that have a score which is not struck out."""
    return (series.standing for series in history if series.standing is not None)


def usual_activities(episode: Episode) -> tuple[str, ...]:
    """The activities last scored, in the client's words; empty before the first. One query."""
    last = (
        episode.outcome_scores.filter(instrument=Instrument.FUNCTION, struck_at=None)
        .order_by("-scored_on", "-recorded_at")
        .first()
    )
    return tuple(last.activities) if last else ()


def dominant_side(episode: Episode) -> Side | None:
    return Side(episode.dominant_hand) if episode.dominant_hand else None


def point_of(row: OutcomeScore) -> ScorePoint:
    """A row as a frozen value; its people must be joined."""
    instrument = Instrument(row.instrument)
    part = Part(row.part) if row.part else None
    side = Side(row.side) if row.side else None
    return ScorePoint(
        id=row.pk,
        series=Series(instrument, side, part, tuple(row.activities)),
        scored_on=row.scored_on,
        score=row.score,
        items=tuple(row.items),
        note=row.note,
        scored_by=row.scored_by.signature,
        striking=_striking(row),
    )


def _striking(row: OutcomeScore) -> Striking | None:
    if row.struck_at is None or row.struck_by is None:
        return None
    return Striking(row.struck_at, row.struck_by.signature, row.struck_reason)
