"""Whom to worry about first. Plain Python, no Django.

An order of a list, not a judgement of a client: the clinician's own look and local rules decide.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from clinic.common.vocabulary import Word

# A red flag seen or a rise taped longer ago than this had its look; common practice, no source.
RED_FLAG_DAYS = 14


class FlagKind(Word):
    """What a line is marked with, the most urgent first."""

    BARRED = "barred", "treatment barred"
    RED_FLAG = "red_flag", "red flag"
    SUDDEN_RISE = "sudden_rise", "sudden rise"
    BOTH_ROSE = "both_rose", "both limbs rose"
    WITHDRAW = "withdraw", "programme to take back"
    EARLY_CHANGE = "early_change", "early change"
    UNSIGNED = "unsigned", "note to sign"
    PRECAUTION = "precaution", "precaution"


ALWAYS_URGENT = frozenset(
    {FlagKind.BARRED, FlagKind.RED_FLAG, FlagKind.SUDDEN_RISE, FlagKind.BOTH_ROSE}
)


@dataclass(frozen=True, slots=True)
class Flag:
    """One mark; `words` say what it is about, `since_on` since when."""

    kind: FlagKind
    words: str = ""
    since_on: date | None = None
    is_urgent: bool = False


def flag(kind: FlagKind, words: str = "", since_on: date | None = None) -> Flag:
    """A mark of the usual urgency of its kind."""
    return Flag(kind, words, since_on, kind in ALWAYS_URGENT)


class Concern(Word):
    """Why a line stands where it does, the most pressing first."""

    LOOK = "look", "look today"
    WORSE = "worse", "worse"
    LATE = "late", "overdue"
    SOON = "soon", "due soon"
    CALM = "calm", "nothing open"


RANKS = {concern: rank for rank, concern in enumerate(Concern)}


@dataclass(frozen=True, slots=True)
class ConcernFacts:
    """What the order rests on. `worse_percent`: by how much the worst limb rose beyond error."""

    flags: Sequence[Flag]
    worse_percent: float | None
    first_due_on: date | None


def concern_of(facts: ConcernFacts, *, today: date) -> Concern:
    """The first of the reasons that holds."""
    if any(each.is_urgent for each in facts.flags):
        return Concern.LOOK
    if facts.worse_percent is not None:
        return Concern.WORSE
    if facts.first_due_on is None:
        return Concern.CALM
    return Concern.LATE if facts.first_due_on < today else Concern.SOON


def pressing_first(facts: ConcernFacts, *, today: date) -> tuple[int, int, float, date]:
    """A key that sorts the most pressing first.

    Within a concern: more urgent flags, then the larger rise in percent, then the earlier day.
    """
    urgent = sum(each.is_urgent for each in facts.flags)
    return (
        RANKS[concern_of(facts, today=today)],
        -urgent,
        -(facts.worse_percent or 0.0),
        facts.first_due_on or date.max,
    )


def is_recent(seen_on: date, *, today: date) -> bool:
    """Whether a red flag or a rise of a day still asks for a look today."""
    return seen_on >= today - timedelta(days=RED_FLAG_DAYS)
