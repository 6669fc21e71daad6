"""How a goal stands, from a measured value: towards its target, met, or away. Pure.

No change and no target reached is told without setting it against the measurement error.
"""

from dataclasses import dataclass
from datetime import date

from clinic.common.vocabulary import Word
from clinic.visits.plan_errors import TargetIsBaseline
from clinic.visits.words import GoalStatus
from measurements.limb.error import Z_95, mdc95


class Reach(Word):
    """Where a measured value lies between baseline and target."""

    MET = "met", "target reached"
    TOWARDS = "towards", "towards the target"
    UNMOVED = "unmoved", "as at baseline"
    AWAY = "away", "away from the target"


class Certainty(Word):
    """How it stands against measurement error, at 95 %."""

    BEYOND = "beyond", "beyond measurement error"
    WITHIN = "within", "within measurement error"
    NOT_KNOWN = "not_known", "measurement error not known"


@dataclass(frozen=True, slots=True)
class Aim:
    """From where to where, in the goal's own unit. Raises TargetIsBaseline."""

    baseline: float
    target: float

    def __post_init__(self) -> None:
        if self.baseline == self.target:
            raise TargetIsBaseline(self.target)

    @property
    def is_downwards(self) -> bool:
        return self.target < self.baseline

    @property
    def way(self) -> float:
        """From baseline to target, negative when it leads down."""
        return self.target - self.baseline

    def past_target(self, value: float) -> float:
        """How far a value lies beyond the target in the goal's direction; negative short of it."""
        return self.target - value if self.is_downwards else value - self.target

    def gained(self, value: float) -> float:
        """How far a value has come from the baseline in the goal's direction."""
        return self.baseline - value if self.is_downwards else value - self.baseline


@dataclass(frozen=True, slots=True)
class Measured:
    """A measured value in the goal's unit with what its error allows; None: not known.

    `value_limit` is how far the true value may lie from this one, `change_limit` the smallest
    change between two such values that counts as real, both at 95 %. The baseline is taken to
    have been measured in the same way, with the same error.
    """

    value: float
    value_limit: float | None = None
    change_limit: float | None = None

    @classmethod
    def with_error(cls, value: float, error: float | None) -> "Measured":
        """From one standard error of this value: 1.96 of it, and 1.96 sqrt(2) of it."""
        if error is None:
            return cls(value)
        return cls(value, Z_95 * error, mdc95(error))


@dataclass(frozen=True, slots=True)
class GoalStanding:
    """How a goal stands. `progress_percent` of the way from baseline to target, unrounded.

    It passes 100 beyond the target and falls below 0 on the wrong side of the baseline.
    """

    reach: Reach
    certainty: Certainty
    progress_percent: float

    @property
    def is_surely_met(self) -> bool:
        return self.reach is Reach.MET and self.certainty is Certainty.BEYOND

    @property
    def is_worse(self) -> bool:
        """Away from the target by more than measurement error; never by noise."""
        return self.reach is Reach.AWAY and self.certainty is Certainty.BEYOND

    @property
    def words(self) -> str:
        """ "towards the target, within measurement error"."""
        if self.reach is Reach.UNMOVED:
            return self.reach.label
        return f"{self.reach.label}, {self.certainty.label}"


def goal_standing(aim: Aim, measured: Measured) -> GoalStanding:
    """Where the value lies on the way, and whether that is beyond measurement error.

    A target is reached beyond error when the value passes it by more than `value_limit` and has
    moved from the baseline by more than `change_limit`; exactly at a limit is within.
    Source of both limits: DOI 10.1089/lrb.2022.0032.
    """
    value = measured.value
    gained, past = aim.gained(value), aim.past_target(value)
    return GoalStanding(
        reach=_reach(gained, past),
        certainty=_certainty(gained, past, measured),
        progress_percent=100 * (value - aim.baseline) / aim.way,
    )


def _reach(gained: float, past: float) -> Reach:
    if past >= 0:
        return Reach.MET
    if gained == 0:
        return Reach.UNMOVED
    return Reach.TOWARDS if gained > 0 else Reach.AWAY


def _certainty(gained: float, past: float, measured: Measured) -> Certainty:
    value_limit, change_limit = measured.value_limit, measured.change_limit
    if value_limit is None or change_limit is None:
        return Certainty.NOT_KNOWN
    is_real = abs(gained) > change_limit
    if past >= 0:
        is_real = is_real and past > value_limit
    return Certainty.BEYOND if is_real else Certainty.WITHIN


def offered_status(standing: GoalStanding, *, due_on: date, on: date) -> GoalStatus:
    """The status to offer a therapist, who decides: noise never makes a goal met.

    Met when reached and not within error; until it is due a goal stays open; afterwards it is
    partly met where there was progress that may be real, else not met.
    """
    if standing.reach is Reach.MET and standing.certainty is not Certainty.WITHIN:
        return GoalStatus.MET
    if on <= due_on:
        return GoalStatus.OPEN
    if standing.reach is Reach.MET:
        return GoalStatus.PARTLY
    came_nearer = standing.reach is Reach.TOWARDS and standing.certainty is not Certainty.WITHIN
    return GoalStatus.PARTLY if came_nearer else GoalStatus.NOT_MET
