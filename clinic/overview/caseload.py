"""The caseload as values: one line an open episode, what it can be filtered and sorted by."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any
from uuid import UUID

from clinic.clients.models import region_name
from clinic.common.vocabulary import Involvement, Phase, Region, Stage, Word
from clinic.overview.concern import (
    Concern,
    ConcernFacts,
    Flag,
    FlagKind,
    concern_of,
    pressing_first,
)
from clinic.scheduling.recalls import LOOK_AHEAD_DAYS
from measurements.standing import Standing

MINE, EVERYONE = "mine", "all"


class JudgedAs(Word):
    """By what the last girths say."""

    WORSE = "worse", "worse than before"
    BETTER = "better", "better than before"
    STEADY = "steady", "change within measurement error"
    EXCESS = "excess", "excess beyond measurement error"
    NO_EXCESS = "no_excess", "no excess beyond measurement error"
    NOT_TAPED = "not_taped", "not taped yet"


class DueBy(Word):
    LATE = "late", "overdue"
    SOON = "soon", "overdue or due within two weeks"
    NOTHING = "nothing", "nothing due"


class Order(Word):
    """What the list is sorted by; the first is the usual one."""

    CONCERN = "concern", "what needs attention first"
    NAME = "name", "client"
    REGION = "region", "region"
    PHASE = "phase", "phase"
    STAGE = "stage", "stage"
    EXCESS = "excess", "excess"
    CHANGE = "change", "change"
    VISITS = "visits", "visits"
    NEXT = "next", "next booking"
    DUE = "due", "due"
    FLAGS = "flags", "flags"
    THERAPIST = "therapist", "therapist"


@dataclass(frozen=True)
class Asked:
    """What the page was asked for; None: all. `whose` is MINE, EVERYONE or a therapist's number."""

    whose: str = MINE
    phase: Phase | None = None
    region: Region | None = None
    judged: JudgedAs | None = None
    due: DueBy | None = None
    flag: FlagKind | None = None
    order: Order = Order.CONCERN
    is_descending: bool = False
    words: str = ""
    page: int = 1


@dataclass(frozen=True, slots=True)
class RegionTold:
    """A region with its latest stage; None until one is decided."""

    region: Region
    side: str
    involvement: Involvement
    stage: Stage | None

    @property
    def name(self) -> str:
        return region_name(self.region, self.side)


@dataclass(frozen=True, slots=True)
class Owed:
    """Something due for an episode, by a day; `page` is where it is done."""

    words: str
    due_on: date
    page: str


@dataclass(frozen=True, slots=True)
class CaseloadLine:
    """One open episode. `owed` is due within two weeks or overdue, earliest first.

    `is_behind`: the kept standings are older than what was taped. `coming_on` is the day of the
    next thing due after the two weeks.
    """

    episode_id: UUID
    client_id: UUID
    name: str
    folded_name: str
    record_number: str
    therapist_id: int
    therapist: str
    phase: Phase
    phase_since_on: date
    regions: tuple[RegionTold, ...]
    standings: tuple[Standing, ...]
    is_behind: bool
    visits: int
    last_visit_on: date | None
    next_on: date | None
    owed: tuple[Owed, ...]
    coming: Owed | None
    flags: tuple[Flag, ...]
    concern: Concern
    pressing: tuple[Any, ...]


@dataclass(frozen=True, slots=True)
class Weighed:
    """What a line's place rests on: everything owed, its flags, and where it ends up."""

    owed: tuple[Owed, ...]
    coming: Owed | None
    flags: tuple[Flag, ...]
    concern: Concern
    pressing: tuple[Any, ...]


def weighed(
    owed: Iterable[Owed], flags: Iterable[Flag], standings: Sequence[Standing], *, today: date
) -> Weighed:
    """Sorts what is due and the flags, and finds the line's concern."""
    until_on = today + timedelta(days=LOOK_AHEAD_DAYS)
    ordered = sorted(owed, key=lambda each: (each.due_on, each.words))
    near = tuple(each for each in ordered if each.due_on <= until_on)
    marks = tuple(flags)
    if len(marks) > 1:
        marks = tuple(sorted(marks, key=lambda each: (not each.is_urgent, FLAG_RANKS[each.kind])))
    facts = ConcernFacts(marks, worse_percent(standings), near[0].due_on if near else None)
    return Weighed(
        owed=near,
        coming=ordered[len(near)] if len(ordered) > len(near) else None,
        flags=marks,
        concern=concern_of(facts, today=today),
        pressing=pressing_first(facts, today=today),
    )


FLAG_RANKS = {kind: rank for rank, kind in enumerate(FlagKind)}


def worse_percent(standings: Sequence[Standing]) -> float | None:
    """By how much the worst limb rose beyond error; percent of the other limb or of itself."""
    rises = [_rise_percent(each) for each in standings if each.is_worse]
    return max(rises, default=None)


def _rise_percent(standing: Standing) -> float:
    """The told change in percent of what the value is held against."""
    told, value_ml = standing.told_change, standing.value_ml
    if told is None or not value_ml:
        return 0.0
    if standing.is_excess and standing.percent:
        return told.change_ml / value_ml * standing.percent
    return 100 * told.change_ml / value_ml
