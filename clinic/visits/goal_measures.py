"""What a goal may be judged by: a value of the tape, an outcome score, the therapist's word. Plain.

One text stands for a measure in forms and in `Goal.instrument`: "excess_percent", or
"score:shoulder:right:flexion" for a score, of which the instrument's part is kept.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal

from clinic.common.vocabulary import Side
from clinic.visits.plan_errors import ValueAbsurd
from clinic.visits.words import GoalMeasure
from measurements.limb.instruments import ALL_SPECS, SPECS, Instrument, InstrumentSpec, Part
from measurements.scored import Series

SCORE_PREFIX = f"{GoalMeasure.SCORE.value}:"

# What no limb gives, even a very large one; common practice, no source.
LIMITS: dict[GoalMeasure, tuple[float, float, str]] = {
    GoalMeasure.EXCESS_PERCENT: (-90, 400, "%"),
    GoalMeasure.EXCESS_ML: (-20_000, 20_000, "mL"),
    GoalMeasure.RELATIVE_CHANGE: (-90, 400, "%"),
}
DECIMALS = {
    GoalMeasure.EXCESS_PERCENT: 1,
    GoalMeasure.EXCESS_ML: 0,
    GoalMeasure.RELATIVE_CHANGE: 1,
}
MOST_DECIMALS = 2  # as the database keeps a goal


@dataclass(frozen=True)
class Judged:
    """By what a goal is judged: the measure and, for a score, the series it is of."""

    measure: GoalMeasure
    series: Series | None = None

    @property
    def written(self) -> str:
        return f"{SCORE_PREFIX}{instrument_text(self.series)}" if self.series else self.measure

    @property
    def instrument(self) -> str:
        """As `Goal.instrument` keeps it: empty for all but scores."""
        return instrument_text(self.series) if self.series else ""

    @property
    def spec(self) -> InstrumentSpec | None:
        return SPECS[self.series.instrument] if self.series else None

    @property
    def words(self) -> str:
        """ "excess volume, %", "Shoulder range of motion, right flexion"."""
        return self.series.title if self.series else self.measure.label

    @property
    def is_measured(self) -> bool:
        return self.measure is not GoalMeasure.TOLD

    def rounded(self, value: float) -> Decimal:
        """A measured value as a baseline is written: in the measure's usual decimals."""
        decimals = DECIMALS.get(self.measure, MOST_DECIMALS)
        if self.spec:
            decimals = min(self.spec.shown_decimals, MOST_DECIMALS)
        return Decimal(str(round(value, decimals)))

    def check(self, field: str, value: Decimal | None) -> None:
        """Raise ValueAbsurd for a number that the measure cannot give."""
        lowest, highest, unit = self._limits()
        if value is not None and not lowest <= value <= highest:
            raise ValueAbsurd(field, lowest=lowest, highest=highest, unit=unit)

    def _limits(self) -> tuple[float, float, str]:
        if self.series and self.spec:
            return self.spec.lowest, self.spec.highest_for(self.series.part), self.spec.unit
        return LIMITS.get(self.measure, (-999_999, 999_999, ""))


def instrument_text(series: Series) -> str:
    """ "dash", "pain:mean", "shoulder:right:flexion". Activities are left out."""
    return ":".join(filter(None, [series.instrument, series.side, series.part]))


def judged_by(measure: str, instrument: str = "") -> Judged:
    """From the columns of a goal. Raises ValueError for words that are not known."""
    return Judged(GoalMeasure(measure), _series(instrument) if instrument else None)


def judged_as(written: str) -> Judged:
    """From the text of a form. Raises ValueError for words that are not known."""
    if written.startswith(SCORE_PREFIX):
        return Judged(GoalMeasure.SCORE, _series(written.removeprefix(SCORE_PREFIX)))
    return Judged(GoalMeasure(written))


def _series(text: str) -> Series:
    instrument, *place = text.split(":")
    sides = [Side(word) for word in place if word in set(Side)]
    parts = [Part(word) for word in place if word not in set(Side)]
    return Series(Instrument(instrument), next(iter(sides), None), next(iter(parts), None))


def every_score() -> Iterator[Judged]:
    """Every score a goal may be judged by, in the order of the instruments."""
    for spec in ALL_SPECS:
        for part in spec.parts or (None,):
            for side in tuple(Side) if spec.is_per_side else (None,):
                yield Judged(GoalMeasure.SCORE, Series(spec.instrument, side, part))
