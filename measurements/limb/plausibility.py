"""Girths that deserve a second look. It asks and never refuses: a swollen limb is unusual."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import pairwise
from statistics import median

from clinic.common.vocabulary import Limb, Sex, Side, Word
from measurements.limb.comparison import NOISE_PLACES
from measurements.limb.girth import LimbGirths
from measurements.limb.usual_girths import (
    LOWER_OVER_THIN,
    THICK_END,
    THIN_END,
    UPPER_OVER_LOWER,
    Range,
)

# Girths in cm that are hard to believe on anybody; our own entry check, no source.
BELIEVABLE_CM: dict[Limb, Range] = {Limb.ARM: Range(10, 80), Limb.LEG: Range(12, 150)}

# Neighbouring girths differ by less than this share of the thinner; our own check, no source.
NEIGHBOUR_SHARE = 0.40

# The share above is meant for stations up to this far apart; our own choice, no source.
CLOSE_STATIONS_CM = 6.0

# Further apart, a whole forearm or calf may lie between: the largest usual ratio of the limb
# (forearm / wrist, calf / ankle, 99.5 %) is allowed. Source: usual_girths.LOWER_OVER_THIN.

# A change since the last session from this share on asks for confirmation; our own, no source.
SESSION_SHARE = 0.15

# One level changed by more than this while its neighbours are flat: a slip; our own, no source.
LONE_JUMP_CM = 2.0

# What counts as flat: below the detectable change of one girth, 1.96 sqrt(2) 0.3 = 0.83 cm.
FLAT_CM = 0.83

# Levels that both limbs must share before their sides can look exchanged; our own, no source.
LEVELS_TO_JUDGE_SIDES = 3

# Taped length in cm from which a limb shows both its halves, so ratios mean something; no source.
WHOLE_LIMB_CM: dict[Limb, float] = {Limb.ARM: 30, Limb.LEG: 48}

# Highest level in cm that still counts as wrist, or as ankle above the sole; no source.
THIN_END_UP_TO_CM: dict[Limb, float] = {Limb.ARM: 2, Limb.LEG: 14}


class QuestionKind(Word):
    HARD_TO_BELIEVE = "hard_to_believe", "hard to believe for this limb; check digits and unit"
    UNUSUAL_GIRTH = "unusual_girth", "outside what is usual in healthy active adults"
    NEIGHBOUR_JUMP = "neighbour_jump", "far from the neighbouring station"
    UNUSUAL_RATIO = "unusual_ratio", "limb shape outside what is usual in healthy active adults"
    SESSION_JUMP = "session_jump", "far from the last session"
    LONE_JUMP = "lone_jump", "changed at this level only, its neighbours did not"
    LONE_DIFFERENCE = "lone_difference", "differs from the other limb at this level only"
    SIDES_EXCHANGED = (
        "sides_exchanged",
        "on the swollen side, which is the thinner one at every level; check left and right",
    )


@dataclass(frozen=True)
class Question:
    """One thing to confirm or re-measure: `value` in cm (a ratio: in 1) against `expected`.

    `level_cm` is the station to look at.
    """

    side: Side
    level_cm: float
    kind: QuestionKind
    value: float
    expected: Range

    @property
    def is_ratio(self) -> bool:
        return self.kind is QuestionKind.UNUSUAL_RATIO

    @property
    def reason(self) -> str:
        return self.kind.label


def questions(
    limb: Limb,
    girths: LimbGirths,
    *,
    sex: Sex = Sex.NOT_SAID,
    previous: LimbGirths | None = None,
    other: LimbGirths | None = None,
) -> tuple[Question, ...]:
    """Everything about one limb's girths that deserves a second look, by level.

    `previous` is the same limb at the last session, `other` the other limb of this session.
    A girth close to its last value is not asked about again only for being unusual.
    Sources: usual_girths; the other limits are our own entry checks.
    """
    found = [
        *_hard_to_believe(limb, girths),
        *_unusual_girths(limb, girths, sex, previous),
        *_neighbour_jumps(limb, girths),
        *_unusual_ratios(limb, girths, previous),
        *(_session_jumps(girths, previous) if previous else ()),
        *(_lone_differences(girths, other) if other and not previous else ()),
    ]
    return tuple(sorted(found, key=lambda question: question.level_cm))


def _hard_to_believe(limb: Limb, girths: LimbGirths) -> Iterator[Question]:
    believable = BELIEVABLE_CM[limb]
    for level, girth in girths:
        if not believable.holds(girth):
            yield Question(girths.side, level, QuestionKind.HARD_TO_BELIEVE, girth, believable)


def _unusual_girths(
    limb: Limb, girths: LimbGirths, sex: Sex, previous: LimbGirths | None
) -> Iterator[Question]:
    """The thin end against the wrist or ankle, every other station against the whole limb."""
    thin, thick = THIN_END[limb][sex], THICK_END[limb][sex]
    known = dict(previous) if previous else {}
    for level, girth in girths:
        is_thin_end = level == girths.levels_cm[0] and level <= THIN_END_UP_TO_CM[limb]
        usual = thin if is_thin_end else Range(thin.low, thick.high)
        is_asked_already = not BELIEVABLE_CM[limb].holds(girth)
        if usual.holds(girth) or is_asked_already or _is_as_before(level, girth, known):
            continue
        yield Question(girths.side, level, QuestionKind.UNUSUAL_GIRTH, girth, usual)


def _is_as_before(level_cm: float, girth_cm: float, known: Mapping[float, float]) -> bool:
    return level_cm in known and abs(girth_cm / known[level_cm] - 1) < SESSION_SHARE


def _neighbour_jumps(limb: Limb, girths: LimbGirths) -> Iterator[Question]:
    for (low_cm, low), (high_cm, high) in pairwise(girths):
        is_close = high_cm - low_cm <= CLOSE_STATIONS_CM
        allowed = 1 + NEIGHBOUR_SHARE if is_close else LOWER_OVER_THIN[limb].high
        if max(low, high) >= round(allowed * min(low, high), NOISE_PLACES):
            expected = Range(low / allowed, low * allowed)
            yield Question(girths.side, high_cm, QuestionKind.NEIGHBOUR_JUMP, high, expected)


def _unusual_ratios(
    limb: Limb, girths: LimbGirths, previous: LimbGirths | None
) -> Iterator[Question]:
    """Lower half over thin end, upper half over lower half; silent when it was so before."""
    before = {each.level_cm for each in _ratios_outside(limb, previous)} if previous else set()
    for question in _ratios_outside(limb, girths):
        if question.level_cm not in before:
            yield question


def _ratios_outside(limb: Limb, girths: LimbGirths) -> Iterator[Question]:
    first, last = girths.taped_cm
    if last - first < WHOLE_LIMB_CM[limb] or first > THIN_END_UP_TO_CM[limb]:
        return
    middle = (first + last) / 2
    thin = girths.girths_cm[0]
    lower = max((girth, level) for level, girth in girths if level <= middle)
    upper = max((girth, level) for level, girth in girths if level > middle)
    for ratio, level, usual in (
        (lower[0] / thin, lower[1], LOWER_OVER_THIN[limb]),
        (upper[0] / lower[0], upper[1], UPPER_OVER_LOWER[limb]),
    ):
        if not usual.holds(ratio):
            yield Question(girths.side, level, QuestionKind.UNUSUAL_RATIO, ratio, usual)


def _session_jumps(girths: LimbGirths, previous: LimbGirths) -> Iterator[Question]:
    known = dict(previous)
    shared = [(level, girth, girth - known[level]) for level, girth in girths if level in known]
    changes = [change for _, _, change in shared]
    for index, (level, girth, change) in enumerate(shared):
        then = known[level]
        expected = Range(then * (1 - SESSION_SHARE), then * (1 + SESSION_SHARE))
        if round(abs(change), NOISE_PLACES) >= round(SESSION_SHARE * then, NOISE_PLACES):
            yield Question(girths.side, level, QuestionKind.SESSION_JUMP, girth, expected)
        elif abs(change) > LONE_JUMP_CM and _neighbours_are_flat(changes, index):
            expected = Range(then - LONE_JUMP_CM, then + LONE_JUMP_CM)
            yield Question(girths.side, level, QuestionKind.LONE_JUMP, girth, expected)


def _neighbours_are_flat(changes: list[float], index: int) -> bool:
    neighbours = changes[max(index - 1, 0) : index] + changes[index + 1 : index + 2]
    return bool(neighbours) and all(abs(change) < FLAT_CM for change in neighbours)


def _lone_differences(girths: LimbGirths, other: LimbGirths) -> Iterator[Question]:
    """A level whose difference from the other limb leaves the line of its two neighbours."""
    others = dict(other)
    shared = [(level, girth, girth - others[level]) for level, girth in girths if level in others]
    for below, here, above in zip(shared, shared[1:], shared[2:], strict=False):
        level, girth, difference = here
        line = (below[2] + above[2]) / 2
        is_line_flat = abs(below[2] - above[2]) < FLAT_CM
        if is_line_flat and abs(difference - line) > LONE_JUMP_CM:
            middle = others[level] + line
            expected = Range(middle - LONE_JUMP_CM, middle + LONE_JUMP_CM)
            yield Question(girths.side, level, QuestionKind.LONE_DIFFERENCE, girth, expected)


def sides_question(
    limb: Limb,
    swollen: LimbGirths,
    other: LimbGirths,
    *,
    previous: tuple[LimbGirths, LimbGirths] | None = None,
) -> Question | None:
    """Asks whether left and right were exchanged: the swollen limb is the thinner one throughout.

    At the level of the largest difference. `previous` is the last session's (swollen, other); not
    asked again when it was so then. In cm; our own check, no source.
    """
    if not _is_thinner(swollen, other) or (previous and _is_thinner(*previous)):
        return None
    others = dict(other)
    level = max(_shared(swollen, other), key=lambda each: others[each] - dict(swollen)[each])
    expected = Range(others[level], BELIEVABLE_CM[limb].high)
    kind = QuestionKind.SIDES_EXCHANGED
    return Question(swollen.side, level, kind, dict(swollen)[level], expected)


def _shared(girths: LimbGirths, other: LimbGirths) -> list[float]:
    return [level for level in girths.levels_cm if level in dict(other)]


def _is_thinner(girths: LimbGirths, other: LimbGirths) -> bool:
    """Thinner at every level, by more at the middle one than two tapings of one limb differ."""
    own, others, levels = dict(girths), dict(other), _shared(girths, other)
    differences = [others[level] - own[level] for level in levels]
    is_judged = len(levels) >= LEVELS_TO_JUDGE_SIDES
    return is_judged and min(differences) > 0 and median(differences) > FLAT_CM
