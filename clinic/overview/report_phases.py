"""Phases that ended in a period, and what the tape says of the intensive ones."""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import groupby
from operator import attrgetter
from uuid import UUID

from django.db.models import F, OuterRef, Q, Subquery

from clinic.clients.models import PhaseChange
from clinic.common.vocabulary import Limb, Phase, Side
from clinic.overview.report_limb_rules import NOT_COMPARED, Reduced, reduced
from clinic.overview.report_period import Period
from measurements.models import GirthSession
from measurements.selectors.limb_changes import Compared, TwoSessions, compared, sides_of_episodes


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
Sides = Mapping[tuple[UUID, Limb], Side | None]


def ended_phases(period: Period) -> list[EndedPhase]:
    """Every phase that another one followed in the period. One query."""
    earlier = PhaseChange.objects.filter(episode=OuterRef("episode")).filter(
        Q(since_on__lt=OuterRef("since_on"))
        | Q(since_on=OuterRef("since_on"), pk__lt=OuterRef("pk"))
    )
    last = earlier.order_by("-since_on", "-pk")
    rows = (
        PhaseChange.objects.filter(since_on__range=(period.from_on, period.to_on))
        .annotate(
            was=Subquery(last.values("phase")[:1]), began=Subquery(last.values("since_on")[:1])
        )
        .exclude(was=None)
        .exclude(was=F("phase"))
        .order_by("since_on", "pk")
        .values_list("episode_id", "episode__client_id", "was", "began", "since_on", "phase")
    )
    return [
        EndedPhase(episode, client, Phase(was), began, ended, Phase(following))
        for episode, client, was, began, ended, following in rows
    ]


def reductions(phases: Sequence[EndedPhase]) -> list[tuple[EndedPhase, Reduced]]:
    """What became of the excess of each limb taped in each phase; three queries.

    A phase without any taping is there once, as not comparable.
    """
    episodes = {each.episode_id for each in phases}
    taped, sides = _sessions(episodes), sides_of_episodes(episodes)
    pairs = [(each, pair) for each in phases for pair in _pairs(each, taped, sides)]
    found = compared([pair for _, pair in pairs if pair])
    return [(each, _reduced(pair, found)) for each, pair in pairs]


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
        side = sides.get((phase.episode_id, limb))
        is_twice = side is not None and first.taken_on < last.taken_on
        yield TwoSessions(limb, side, first.id, last.id) if side and is_twice else None


def _reduced(pair: Pair, found: Mapping[TwoSessions, Compared]) -> Reduced:
    both = found.get(pair) if pair else None
    return reduced(first=both.then, last=both.now) if both else NOT_COMPARED
