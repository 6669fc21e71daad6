"""Phases that ended in a period, and what the tape says of the intensive ones."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import groupby, pairwise
from operator import attrgetter, itemgetter
from uuid import UUID

from django.db.models import Exists, OuterRef

from clinic.clients.models import PhaseChange
from clinic.common.vocabulary import Limb, Phase
from clinic.overview.report_limb_rules import NOT_COMPARED, Reduced, reduced
from clinic.overview.report_period import Period
from measurements.models import GirthSession
from measurements.selectors.limb_changes import Compared, TwoSessions, compared
from measurements.selectors.taped import NOT_SAID, AffectedSides, LimbKey, sides_of


@dataclass(frozen=True, slots=True)
class EndedPhase:
    """A phase that gave way to another on a day."""

    episode_id: UUID
    client_id: UUID
    phase: Phase
    from_on: date
    ended_on: date
    following: Phase

    @property
    def is_early_treatment(self) -> bool:
        """From surveillance straight into the intensive phase."""
        return self.phase is Phase.SURVEILLANCE and self.following is Phase.INTENSIVE


@dataclass(frozen=True, slots=True)
class _Session:
    episode_id: UUID
    limb: Limb
    id: UUID
    taken_on: date


Pair = TwoSessions | None  # None: cannot be compared
Sessions = Mapping[UUID, Sequence[_Session]]
Sides = Mapping[LimbKey, AffectedSides]


def ended_phases(period: Period) -> list[EndedPhase]:
    """Every phase that another one followed in the period. One query."""
    within = PhaseChange.objects.filter(
        episode=OuterRef("episode"), since_on__range=(period.from_on, period.to_on)
    )
    rows = (
        PhaseChange.objects.filter(Exists(within))
        .order_by("episode_id", "since_on", "pk")
        .values_list("episode_id", "episode__client_id", "phase", "since_on")
    )
    return [
        EndedPhase(episode_id, client_id, Phase(was), began_on, ended_on, Phase(following))
        for (episode_id, client_id), own in groupby(rows, key=itemgetter(0, 1))
        for (began_on, was), (ended_on, following) in pairwise(_lasting(row[2:] for row in own))
        if period.holds(ended_on)
    ]


def _lasting(changes: Iterable[tuple[str, date]]) -> Iterator[tuple[date, str]]:
    """(first day, phase) of those that outlasted their day, oldest first.

    A slip put right on the same day is no phase, and does not end the one it stands in.
    """
    at_end_of_day = {since_on: phase for phase, since_on in changes}
    for _, same in groupby(at_end_of_day.items(), key=itemgetter(1)):
        yield next(same)


def reductions(phases: Sequence[EndedPhase]) -> list[tuple[EndedPhase, Reduced]]:
    """What became of the excess of each limb taped in each phase; three queries.

    A phase without any taping is there once, as not comparable.
    """
    episodes = {each.episode_id for each in phases}
    taped, sides = _sessions(episodes), sides_of(episodes)
    pairs = [(each, pair) for each in phases for pair in _pairs(each, taped, sides)]
    found = iter(compared([pair for _, pair in pairs if pair]))
    return [(each, _reduced(next(found) if pair else None)) for each, pair in pairs]


def _sessions(episodes: set[UUID]) -> Sessions:
    """Sessions that are not struck out, by episode; limb by limb, oldest first."""
    rows = (
        GirthSession.objects.filter(episode__in=episodes, struck_at=None)
        .order_by("limb", "taken_on", "round", "recorded_at")
        .values_list("episode_id", "limb", "pk", "taken_on")
    )
    found: defaultdict[UUID, list[_Session]] = defaultdict(list)
    for episode_id, limb, pk, taken_on in rows:
        found[episode_id].append(_Session(episode_id, Limb(limb), pk, taken_on))
    return found


def _pairs(phase: EndedPhase, taped: Sessions, sides: Sides) -> Iterator[Pair]:
    """First and last session of each limb within the phase; the day it ended is part of it."""
    within = [
        each
        for each in taped.get(phase.episode_id, ())
        if phase.from_on <= each.taken_on <= phase.ended_on
    ]
    if not within:
        yield None
    for limb, sessions in groupby(within, key=attrgetter("limb")):
        first, *_, last = [*sessions] * 2
        side = sides.get((phase.episode_id, limb), NOT_SAID).side
        is_twice = side is not None and first.taken_on < last.taken_on
        yield TwoSessions(limb, side, first.id, last.id) if side and is_twice else None


def _reduced(both: Compared | None) -> Reduced:
    return reduced(first=both.then, last=both.now) if both else NOT_COMPARED
