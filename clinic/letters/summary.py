"""All that one letter, report or discharge summary says, frozen. No database, no clock.

Volumes in mL, weight in kg, unrounded; `error` is one standard error in the unit of its value.
Missing is None. Stored as JSON in the letter on the day it is approved.
"""

from dataclasses import asdict, dataclass
from datetime import date
from math import hypot
from typing import Any

from clinic.common.vocabulary import Limb, Phase, Precaution, Side
from clinic.letters.care import Care, Ending
from clinic.letters.kinds import LetterKind
from measurements.limb.comparison import ByWeight, Judged, Verdict, WeightSays, by_weight

# Raised when the fields of a stored summary or their meaning change. 2: each limb's numbers may
# carry `plateaus`. 3: `kind`, `every_months`, `care` and `ending`. 4: `phase_before`. 5: `seen_on`.
# 6: `untaped`, `pauses`, `is_at_risk` and `both_rose` of each limb, and the weight of each look.
# A stored summary is kept as it was sent, whatever its version.
SUMMARY_VERSION = 6


@dataclass(frozen=True)
class Letterhead:
    name: str
    street: str
    town: str
    phone: str
    fax: str
    email: str
    paper_size: str
    weight_shown: str


@dataclass(frozen=True)
class Addressee:
    name: str
    speciality: str
    organisation: str
    street: str
    town: str

    @property
    def lines(self) -> tuple[str, ...]:
        """As printed: the speciality stands in only where no organisation is named."""
        place = self.organisation or self.speciality
        return tuple(filter(None, [self.name, place, self.street, self.town]))


@dataclass(frozen=True)
class ClientNamed:
    name: str
    born_on: date
    record_number: str


@dataclass(frozen=True)
class Diagnosis:
    """Code and words; `regions` such as "right arm (swollen)"."""

    code: str
    words: str
    regions: tuple[str, ...]


@dataclass(frozen=True)
class StageFound:
    region: str
    stage: str
    found_on: date


@dataclass(frozen=True)
class PrecautionOpen:
    """`bars_treatment`: absolute, nothing may be done while it lasts."""

    precaution: Precaution
    found_on: date
    bars_treatment: bool


@dataclass(frozen=True)
class Pause:
    """An absolute precaution that was found and is settled."""

    precaution: Precaution
    found_on: date
    cleared_on: date


@dataclass(frozen=True)
class Measured:
    """A value and its standard error, one unit."""

    value: float
    error: float

    @property
    def margin(self) -> float:
        """Half the width of the 95 % interval."""
        return Judged(self.value, self.error).limit


@dataclass(frozen=True)
class Weighed(Measured):
    """A limb's own volume in bilateral disease, with body weight in kg that day if known."""

    weight_kg: float | None


@dataclass(frozen=True)
class OwnShift(Judged):
    """A limb's own change in bilateral disease, mL: the verdict also asks body weight."""

    by_weight: ByWeight

    @property
    def verdict(self) -> Verdict:
        return self.by_weight.direction(super().verdict)

    @property
    def weight_says(self) -> WeightSays | None:
        return self.by_weight.says(super().verdict)


def shift(now: Measured | None, then: Measured | None) -> Judged | None:
    """Change between two sessions. Sessions share no error, so both add in quadrature.

    Source: the same propagation as `measurements.limb.error.change_error`.
    """
    if now is None or then is None:
        return None
    change_ml, error_ml = now.value - then.value, hypot(now.error, then.error)
    if isinstance(now, Weighed) and isinstance(then, Weighed):
        return OwnShift(change_ml, error_ml, _by_weight(now, then))
    return Judged(change_ml, error_ml)


def _by_weight(now: Weighed, then: Weighed) -> ByWeight:
    return by_weight(
        (now.value, then.value), (now.error, then.error), (now.weight_kg, then.weight_kg)
    )


@dataclass(frozen=True)
class Look:
    """One session: each limb's volume, the excess in mL and percent, and body weight."""

    session_id: str
    taken_on: date
    left: Measured | None
    right: Measured | None
    excess: Measured | None
    percent: Measured | None
    weight_kg: float | None

    def of(self, side: Side) -> Measured | None:
        return self.left if side is Side.LEFT else self.right

    def weighed(self, side: Side) -> Weighed | None:
        """One limb with the weight of the day, as bilateral disease is judged."""
        own = self.of(side)
        return Weighed(own.value, own.error, self.weight_kg) if own else None


@dataclass(frozen=True)
class Plateau:
    """Where an intensive phase is heading: the excess of `side`, or that limb's own volume, mL.

    `value_ml` with its 95 % interval, and the day from which further change is within
    measurement error; all None while it is too early to tell. `ended_on`: the phase's end.
    """

    side: Side
    is_excess: bool
    ended_on: date | None
    value_ml: float | None
    low_ml: float | None
    high_ml: float | None
    within_on: date | None
    is_reached: bool


@dataclass(frozen=True)
class LimbNumbers:
    """One kind of limb: now, at the last letter, at baseline, and every point for the chart.

    `last` is the session that the last paper of this kind called "now", of a discharge summary
    the first one; None without one or when it can no longer be compared. `is_at_risk`: the side
    set against the other is watched, not swollen. `rose_suddenly` and `both_rose` are told of `now`
    where nobody has taped the limb since.
    """

    limb: Limb
    affected_side: Side | None
    is_bilateral: bool
    now: Look
    last: Look | None
    baseline: Look | None
    points: tuple[Look, ...]
    protocol: str
    start_landmark: str
    from_cm: float
    to_cm: float
    is_shorter: bool
    rose_suddenly: bool
    cautions: tuple[str, ...]
    plateaus: tuple[Plateau, ...] = ()
    is_at_risk: bool = False
    both_rose: bool = False

    @property
    def rose_together(self) -> bool:
        """Both limbs, and no paper of this kind has said so."""
        was_told = self.last is not None and self.last.session_id == self.now.session_id
        return self.both_rose and not was_told


@dataclass(frozen=True)
class Adherence:
    """How the home programme was followed in the period, as told at visits."""

    times_asked: int
    mean_days_of_seven: float
    hard_places: tuple[str, ...]


@dataclass(frozen=True)
class ProgressSummary:
    """`measured_count` counts sessions taped within the period.

    `every_months` between re-measurements where they differ from the usual. `care` is what a
    report and a discharge summary say beyond a letter, `ending` what only the latter says.
    `phase` is that of the last day of the period, `phase_before` that of the first. `seen_on` is
    the last visit up to then that a signed note tells of. `untaped` names what is swollen and has
    no girths, such as "left breast", `pauses` what barred treatment in the period and is settled.
    """

    version: int
    method: str
    letterhead: Letterhead
    addressee: Addressee
    client: ClientNamed
    diagnosis: Diagnosis
    cancer_treatment: str
    stages: tuple[StageFound, ...]
    phase: Phase
    phase_since_on: date
    precautions: tuple[PrecautionOpen, ...]
    limbs: tuple[LimbNumbers, ...]
    period_from: date
    period_to: date
    last_letter_on: date | None
    measured_count: int
    written_on: date
    signed_by: str
    adherence: Adherence | None = None
    kind: LetterKind = LetterKind.LETTER
    every_months: int | None = None
    care: Care | None = None
    ending: Ending | None = None
    phase_before: Phase | None = None
    seen_on: date | None = None
    untaped: tuple[str, ...] = ()
    pauses: tuple[Pause, ...] = ()

    @property
    def barring(self) -> tuple[PrecautionOpen, ...]:
        return tuple(found for found in self.precautions if found.bars_treatment)

    @property
    def other_precautions(self) -> tuple[PrecautionOpen, ...]:
        return tuple(found for found in self.precautions if not found.bars_treatment)

    @property
    def is_urgent(self) -> bool:
        """Something that does not wait for a letter."""
        return bool(self.barring) or any(numbers.rose_suddenly for numbers in self.limbs)


def as_json(summary: ProgressSummary) -> dict[str, Any]:
    """The summary in types that JSON knows: days as 2026-03-04, words as their stored values."""
    plain: dict[str, Any] = _plain(asdict(summary))
    return plain


def _plain(value: Any) -> Any:
    if isinstance(value, dict):
        return {str(key): _plain(each) for key, each in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(each) for each in value]
    if isinstance(value, date):
        return value.isoformat()
    return str(value) if isinstance(value, str) else value
