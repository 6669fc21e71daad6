"""What a measuring session and a course of sessions say, as frozen values.

Made by `measurements.selectors.reports`; read by pages and letters. Volumes in mL, girths in cm,
weight in kg, all unrounded; each number travels with its standard error. Missing is None.
"""

from dataclasses import dataclass
from datetime import date, time
from uuid import UUID

from clinic.common.vocabulary import Limb, Phase, Posture, Side, Word
from measurements.limb.comparison import (
    ByWeight,
    Change,
    Comparison,
    Judged,
    Verdict,
    WeightSays,
)
from measurements.limb.course import Decongestion, DecongestionFit
from measurements.limb.error import Z_95
from measurements.limb.girth import LimbGirths
from measurements.limb.thresholds import CriterionResult, Severity
from measurements.limb.volume import Section, Volume


class Caution(Word):
    """What the reader of a report must know before leaning on its numbers; one sentence each."""

    STRUCK = "struck", "This session was struck out and counts nowhere."
    ONE_LIMB = "one_limb", "Only one limb was taped, so there is no difference between the limbs."
    BILATERAL = (
        "bilateral",
        "Both limbs are affected, so neither is a healthy comparison: each is set against its own"
        " baseline.",
    )
    WEIGHT_UNKNOWN = (
        "weight_unknown",
        "Body weight is not known for every session compared: where it is missing, the change of"
        " weight is not taken into account.",
    )
    SIDE_UNKNOWN = (
        "side_unknown",
        "The episode names no affected or at-risk side for this limb, so no excess is given.",
    )
    NO_BASELINE = "no_baseline", "No baseline session is set, so no change from baseline is given."
    SHORTER = "shorter", "The section compared is shorter than what was taped."
    POSTURE = (
        "posture",
        "The posture differs from an earlier session compared here, which alone moves volumes.",
    )
    CONFIRMED = "confirmed", "Some girths looked unusual and were confirmed when they were taped."
    NOT_COMPARABLE = (
        "not_comparable",
        "An earlier session was taped from another start or section and cannot be compared.",
    )
    SUDDEN_RISE = (
        "sudden_rise",
        "The limb rose by 10 % or more, beyond measurement error, in under two weeks: have a"
        " clinician look today and think of infection, clot and recurrence.",
    )
    BOTH_ROSE = (
        "both_rose",
        "Both limbs rose beyond measurement error since the session before: think of a cause in"
        " the whole body.",
    )


@dataclass(frozen=True)
class SessionFacts:
    """One session as recorded. `start_landmark` is the point levels are counted from."""

    id: UUID
    episode_id: UUID
    client_id: UUID
    limb: Limb
    taken_on: date
    taken_at: time | None
    round: int
    posture: Posture
    weight_kg: float | None
    note: str
    protocol: str
    start_landmark: str
    end_handling: str
    taken_by: str
    is_baseline: bool
    is_struck: bool
    struck_on: date | None
    struck_by: str
    struck_reason: str


def is_own_name(label: str, level_cm: float) -> bool:
    """Whether a station's label says more than its level does, as a landmark's name does."""
    return not label.startswith(f"{level_cm:g}")


@dataclass(frozen=True)
class GirthRow:
    """One station: girths, and the segment from it to the next station up (None at the last).

    `difference_cm` and `segment_excess_ml` are affected minus other; right minus left where no
    side counts as affected.
    """

    level_cm: float
    label: str
    left_cm: float | None
    right_cm: float | None
    difference_cm: float | None
    left_segment_ml: float | None
    right_segment_ml: float | None
    segment_excess_ml: float | None
    left_was_confirmed: bool
    right_was_confirmed: bool

    @property
    def has_own_name(self) -> bool:
        """Whether the label says more than the level does: a landmark."""
        return is_own_name(self.label, self.level_cm)


@dataclass(frozen=True)
class EndRow:
    """The hand or foot of one side: a length or a displaced volume; never in a limb volume."""

    side: Side
    figure_of_eight_cm: float | None
    displaced_ml: float | None


@dataclass(frozen=True)
class Since:
    """This session against an earlier one, over the section all their limbs were taped on.

    `excess` is the change of the difference between the limbs (None when there is none to
    compare); `left` and `right` are each limb's own change; `affected` is that of the affected
    side. Each is None where it cannot be had.
    """

    session_id: UUID
    taken_on: date
    days: int
    posture_differs: bool
    excess: Change | None
    left: Change | None
    right: Change | None
    affected: Change | None
    is_comparable: bool


@dataclass(frozen=True)
class SessionReport:
    """All that one session says.

    `left` and `right` are volumes over everything taped on that side. `affected_side` is None
    in bilateral disease; an at-risk side counts as affected when none is swollen.
    `relative_change` is the relative volume change against baseline and the other limb, percent.
    """

    facts: SessionFacts
    affected_side: Side | None
    is_bilateral: bool
    rows: tuple[GirthRow, ...]
    ends: tuple[EndRow, ...]
    left_girths: LimbGirths | None
    right_girths: LimbGirths | None
    left: Volume | None
    right: Volume | None
    comparison: Comparison | None
    since_baseline: Since | None
    since_previous: Since | None
    relative_change: Judged | None
    criteria: tuple[CriterionResult, ...]
    severity: Severity
    section: Section | None
    section_is_shorter: bool
    cautions: tuple[Caution, ...]

    @property
    def affected(self) -> Volume | None:
        """Volume of the affected side over all that was taped on it."""
        return {Side.LEFT: self.left, Side.RIGHT: self.right}.get(self.affected_side)  # type: ignore[arg-type]

    @property
    def limbs(self) -> tuple[tuple[Side, Volume, Change | None], ...]:
        """(side, volume as taped, its change since baseline) of each limb taped, right first."""
        since = self.since_baseline
        own = (
            (Side.RIGHT, self.right, since.right if since else None),
            (Side.LEFT, self.left, since.left if since else None),
        )
        return tuple((side, volume, change) for side, volume, change in own if volume)

    @property
    def weight_adjusted(self) -> tuple[tuple[Side, Judged], ...]:
        """The weight-adjusted change of each limb since baseline, percent; bilateral disease."""
        own = ((side, change.by_weight) for side, _, change in self.limbs if change)
        return tuple((side, by.adjusted) for side, by in own if by and by.adjusted)

    @property
    def other_side(self) -> Side | None:
        return self.affected_side.other if self.affected_side else None

    @property
    def excess_size_ml(self) -> float | None:
        """The excess without its sign, for a sentence that says "more" or "less"."""
        return abs(self.comparison.excess_ml) if self.comparison else None

    @property
    def excess_size_percent(self) -> float | None:
        """The percent excess without its sign, unrounded."""
        return abs(self.comparison.excess_percent) if self.comparison else None

    @property
    def right_margin_ml(self) -> float | None:
        """95 % measurement error of the right limb's volume, mL."""
        return Z_95 * self.right.error_ml if self.right else None

    @property
    def left_margin_ml(self) -> float | None:
        """95 % measurement error of the left limb's volume, mL."""
        return Z_95 * self.left.error_ml if self.left else None

    @property
    def has_two_comparisons(self) -> bool:
        """Whether the session before is another one than the baseline."""
        baseline, previous = self.since_baseline, self.since_previous
        if previous is None:
            return False
        return baseline is None or baseline.session_id != previous.session_id

    @property
    def method(self) -> str:
        volume = self.left or self.right
        return volume.method if volume else ""


@dataclass(frozen=True)
class LimbPoint:
    """One limb at one session: volume over the course's section, and its change from baseline.

    `verdict` is of the tape alone; `by_weight` is there in bilateral disease only.
    """

    side: Side
    volume_ml: float
    volume_error_ml: float
    change_ml: float | None
    change_error_ml: float | None
    change_percent: float | None
    verdict: Verdict | None
    by_weight: ByWeight | None = None

    @property
    def weight_says(self) -> WeightSays | None:
        """What body weight makes of the change, if it has a say."""
        return self.by_weight.says(self.verdict) if self.by_weight and self.verdict else None


@dataclass(frozen=True)
class CoursePoint:
    """One session of a course. Excess values are None where the limbs are not compared.

    `error_ml` is one standard error of the excess; `verdict` judges the change of the excess
    from baseline (None for the baseline itself and where there is none). `fitted_ml` is the
    excess that the fitted course of the intensive phase gives that day.
    """

    session_id: UUID
    taken_on: date
    round: int
    is_baseline: bool
    excess_ml: float | None
    error_ml: float | None
    percent: float | None
    percent_error: float | None
    other_ml: float | None
    verdict: Verdict | None
    left: LimbPoint | None
    right: LimbPoint | None
    fitted_ml: float | None = None
    weight_kg: float | None = None

    @property
    def margin_ml(self) -> float | None:
        """95 % measurement error of the excess, mL."""
        return None if self.error_ml is None else Z_95 * self.error_ml


@dataclass(frozen=True)
class PhaseSpan:
    """A phase from a day to the day before `to_on`; None: still running."""

    phase: Phase
    from_on: date
    to_on: date | None


@dataclass(frozen=True)
class PhaseDecongestion:
    """How one volume went through an intensive phase, small enough for any page.

    `is_excess`: the excess of `side` over the other limb; else the volume of that side. The phase
    runs from `from_on` to `ended_on` (None: still). Changing phase stays the therapist's decision.
    """

    limb: Limb
    side: Side
    is_excess: bool
    from_on: date
    ended_on: date | None
    found: Decongestion

    @property
    def told(self) -> DecongestionFit | None:
        """The fit that may be shown: none while there is a doubt."""
        return self.found.told


@dataclass(frozen=True)
class LimbCourse:
    """All sessions of one kind of limb in one episode that can be compared with the latest.

    Points cover one `section` throughout. `left_out` counts sessions taped from another start
    or without a shared stretch; struck sessions are not counted at all. `decongestion` is of the
    intensive phase that runs or was the last before the present one: the excess, or each limb
    where none is compared; empty without such a phase, and for an ended one that showed no plateau.
    """

    limb: Limb
    affected_side: Side | None
    is_bilateral: bool
    points: tuple[CoursePoint, ...]
    section: Section | None
    section_is_shorter: bool
    left_out: int
    baseline: SessionReport | None
    latest: SessionReport
    phases: tuple[PhaseSpan, ...]
    decongestion: tuple[PhaseDecongestion, ...] = ()

    @property
    def told_excess(self) -> DecongestionFit | None:
        """The fitted course of the excess, where it may be shown."""
        return next((each.told for each in self.decongestion if each.is_excess), None)
