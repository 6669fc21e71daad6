"""Scores as the tests of recording and of the pages take them."""

from datetime import date
from decimal import Decimal

from clinic.accounts.models import User
from clinic.clients.models import Episode
from clinic.common.vocabulary import Side
from measurements.limb.instruments import Instrument, Part
from measurements.models import OutcomeScore
from measurements.scored import ScoresTaken, ScoreTaken, Series
from measurements.services.scores import record_scores

GRIP_RIGHT = Series(Instrument.GRIP, Side.RIGHT)
LLIS = Series(Instrument.LLIS_2)
FLEXION = Series(Instrument.SHOULDER, Side.RIGHT, Part.FLEXION)


def taken(on: date, series: Series, score: str, *, note: str = "") -> ScoresTaken:
    return ScoresTaken(on, (ScoreTaken(series, Decimal(score)),), note)


def keep_score(
    episode: Episode, on: date, series: Series, score: str, *, by: User | None = None
) -> OutcomeScore:
    (row,) = record_scores(
        episode=episode, taken=taken(on, series, score), by=by or episode.therapist
    )
    return row
