"""What was scored, on its way from a form to a row. Pure: standard library and limb only."""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from clinic.common.vocabulary import Side
from measurements.limb.instruments import Instrument, Part

# The order of every table of girths: as the person faces the page.
SIDES = (Side.RIGHT, Side.LEFT)

# As the database keeps a score: models.OutcomeScore.
SCORE_STEP = Decimal("0.001")


@dataclass(frozen=True)
class Series:
    """Scores that are compared with each other: one instrument, side, part, set of activities."""

    instrument: Instrument
    side: Side | None = None
    part: Part | None = None
    activities: tuple[str, ...] = ()

    @property
    def place(self) -> str:
        """ "right flexion", "left hand", "now"; empty for a whole person's score."""
        words = [self.side.label if self.side else "", self.part.label if self.part else ""]
        return " ".join(filter(None, words))

    @property
    def title(self) -> str:
        """ "Shoulder range of motion, right flexion"."""
        name = self.instrument.label[:1].upper() + self.instrument.label[1:]
        return f"{name}, {self.place}" if self.place else name


@dataclass(frozen=True)
class ScoreTaken:
    """One score in its instrument's unit, with the numbers it was made of (None: no answer)."""

    series: Series
    score: Decimal
    items: tuple[Decimal | None, ...] = ()


@dataclass(frozen=True)
class ScoresTaken:
    """All scores of one instrument on one day."""

    scored_on: date
    scores: tuple[ScoreTaken, ...]
    note: str = ""


def kept(score: float | Decimal) -> Decimal:
    """A typed or computed score as it is kept: three decimals."""
    return Decimal(str(score)).quantize(SCORE_STEP)
