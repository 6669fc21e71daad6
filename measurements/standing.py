"""Where one kind of limb stands after its last session, small enough for a list of everybody.

Made from the session's report, whose verdicts it takes over. Volumes in mL, unrounded, each with
one standard error; missing is None.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from uuid import UUID

from clinic.common.vocabulary import Limb, Side
from measurements.limb.comparison import Change, Comparison, Judged, Verdict, verdict
from measurements.limb.volume import Volume
from measurements.report import Since


@dataclass(frozen=True)
class LastSession:
    """Of the last session's report, what a standing is made of."""

    limb: Limb
    session_id: UUID
    taken_on: date
    affected: Side | None
    is_bilateral: bool
    left: Volume | None
    right: Volume | None
    comparison: Comparison | None
    since_baseline: Since | None
    since_previous: Since | None
    relative_change: Judged | None
    is_sudden_rise: bool
    both_rose: bool

    def of(self, side: Side | None) -> Volume | None:
        return self.left if side is Side.LEFT else self.right


@dataclass(frozen=True)
class ChangeTold:
    """A change from an earlier session of the day `since_on`: mL, its error, and its verdict.

    In bilateral disease the verdict is beyond error only if it also holds when adjusted for weight,
    where both weights are known.
    """

    since_on: date
    change_ml: float
    error_ml: float
    verdict: Verdict

    @property
    def is_by_weight(self) -> bool:
        """Whether the tape alone says more: adjusted for weight, the change is within error."""
        return verdict(self.change_ml, self.error_ml) is not self.verdict


@dataclass(frozen=True)
class Standing:
    """The last session of one kind of limb in one episode.

    `is_excess`: `value_ml` is the excess of `side` over the other limb, `percent` of the other
    limb, and `verdict` judges it; else it is the volume of `side` by itself, and neither is known.
    In bilateral disease `side` is the limb that did worse. `before` is the change since the session
    before, `baseline` that since the baseline; `relative_percent` is the relative volume change
    since baseline with its error. `points` are (day, mL) of the baseline and
    the last sessions that can be compared, over the stretch that all of them share, oldest first.
    """

    limb: Limb
    session_id: UUID
    taken_on: date
    affected: Side | None
    is_bilateral: bool
    side: Side | None
    is_excess: bool
    value_ml: float | None
    error_ml: float | None
    percent: float | None
    verdict: Verdict | None
    before: ChangeTold | None
    baseline: ChangeTold | None
    relative_percent: float | None
    relative_error: float | None
    is_sudden_rise: bool
    both_rose: bool
    points: tuple[tuple[date, float], ...] = ()

    @property
    def is_worse(self) -> bool:
        """Larger than before beyond measurement error; where that is within it, than at baseline.

        A slow rise may stay within error from each session to the next.
        """
        return self.direction is Verdict.BEYOND_ERROR_UP

    @property
    def is_better(self) -> bool:
        return self.direction is Verdict.BEYOND_ERROR_DOWN

    @property
    def direction(self) -> Verdict | None:
        """Of the change since before; of that since baseline where the first is within error."""
        told = self.told_change
        return told.verdict if told else None

    @property
    def told_change(self) -> ChangeTold | None:
        """The change since before if it is beyond error, else the one since baseline if that is."""
        beyond = [each for each in (self.before, self.baseline) if each and _is_beyond(each)]
        return next(iter(beyond), self.before or self.baseline)

    @property
    def is_since_baseline(self) -> bool:
        """Whether `told_change` reaches back beyond the session before."""
        told = self.told_change
        return told is not None and told is not self.before


def _is_beyond(change: ChangeTold) -> bool:
    return change.verdict.is_beyond_error


def told_side(last: LastSession) -> Side | None:
    """The side to tell of: the affected one; without one the limb that did worse, if taped."""
    if last.affected:
        return last.affected
    sides = [side for side in (Side.RIGHT, Side.LEFT) if last.of(side)]
    return max(sides, key=lambda side: _worseness(last, side), default=None)


def _worseness(last: LastSession, side: Side) -> tuple[float, float]:
    """By the change in percent since the session before, then by volume."""
    change, volume = _own(last.since_previous, side), last.of(side)
    return (change.percent or 0.0) if change else 0.0, volume.ml if volume else 0.0


def standing_of(
    last: LastSession, side: Side | None, points: Sequence[tuple[date, float]]
) -> Standing:
    """The standing that a last session gives; `side` is `told_side`, `points` as in `Standing`."""
    compared, own, relative = last.comparison, last.of(side), last.relative_change
    return Standing(
        limb=last.limb,
        session_id=last.session_id,
        taken_on=last.taken_on,
        affected=last.affected,
        is_bilateral=last.is_bilateral,
        side=side,
        is_excess=compared is not None,
        value_ml=compared.excess_ml if compared else own.ml if own else None,
        error_ml=compared.excess_error_ml if compared else own.error_ml if own else None,
        percent=compared.excess_percent if compared else None,
        verdict=compared.verdict if compared else None,
        before=_told(last.since_previous, side),
        baseline=_told(last.since_baseline, side),
        relative_percent=relative.value if relative else None,
        relative_error=relative.error if relative else None,
        is_sudden_rise=last.is_sudden_rise,
        both_rose=last.both_rose,
        points=tuple(points),
    )


def _told(since: Since | None, side: Side | None) -> ChangeTold | None:
    """The change of the excess; that of the limb itself where no excess is compared."""
    change = (since.excess if since else None) or _own(since, side)
    if since is None or change is None:
        return None
    return ChangeTold(since.taken_on, change.change_ml, change.error_ml, change.direction)


def _own(since: Since | None, side: Side | None) -> Change | None:
    if since is None or side is None:
        return None
    return since.left if side is Side.LEFT else since.right
