"""Which intensive phases have come to their plateau, for everybody at once: a recall's question.

The fit and its rules are those of the course page (`selectors.courses`), over the stretch that the
sessions of the phase share. Volumes are reckoned as arrays over all clients taped alike.
"""

from collections import OrderedDict, defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import groupby
from operator import itemgetter
from typing import Any
from uuid import UUID

from django.contrib.postgres.expressions import ArraySubquery
from django.db.models import Count, F, OuterRef, QuerySet, Subquery
from django.db.models.functions import JSONObject

from clinic.clients.models import AffectedRegion, Episode
from clinic.clients.selectors import with_phase
from clinic.common.vocabulary import Limb, Phase, Side
from measurements.limb.course import (
    FEWEST_DAYS,
    Decongestion,
    Doubt,
    MeasuredDay,
    decongestion,
    excess_day,
    limb_day,
)
from measurements.limb.girth import LimbGirths
from measurements.limb.volume import Section, Volume
from measurements.models import GirthSession
from measurements.selectors.girth_arrays import LimbSection, girths_of, volumes_of
from measurements.selectors.taped import affected_sides


@dataclass(frozen=True)
class PhaseTaped:
    """The sessions of one kind of limb in one intensive phase, oldest first, each with its day.

    What they say can be remembered by it: a session stays as taped, and a struck one is left out.
    """

    episode_id: UUID
    limb: Limb
    affected_side: Side | None
    sessions: tuple[tuple[UUID, date], ...]


@dataclass(frozen=True)
class TapedLimb:
    """One limb of one session."""

    session_id: UUID
    taken_on: date
    girths: LimbGirths


Phases = dict[PhaseTaped, list[TapedLimb]]
Volumes = Mapping[tuple[UUID, Side], Volume]

# Fits of one process, so that a look at the list reads only the phases with something new. A
# practice of 20,000 clients has about 1,000 intensive phases; older ones make room.
MOST_REMEMBERED = 4096
_remembered: OrderedDict[PhaseTaped, tuple[Decongestion, ...]] = OrderedDict()


def ready_for_garments(on: date) -> dict[UUID, date]:
    """Episode id -> the day since which further change is within measurement error.

    Open episodes in their intensive phase, by what was taped up to a day; with several limbs the
    last of their days, where each that fell is at its plateau. For a prompt only: the phase
    changes when the therapist says so. At most 2 queries, however many clients.
    """
    by_episode: defaultdict[UUID, list[Decongestion]] = defaultdict(list)
    for phase, found in _decongestions(_phases(on)).items():
        by_episode[phase.episode_id] += found
    ready = {key: _level_since(courses) for key, courses in by_episode.items()}
    return {key: since_on for key, since_on in ready.items() if since_on}


def _level_since(courses: Iterable[Decongestion]) -> date | None:
    """None while a limb still falls or nothing can be told; a limb that never fell is no bar."""
    fallen = [each for each in courses if each.doubt is not Doubt.NO_FALL]
    days = [each.told.within_on for each in fallen if each.told and each.is_at_plateau]
    return max(days) if days and len(days) == len(fallen) else None


def _decongestions(phases: Sequence[PhaseTaped]) -> dict[PhaseTaped, tuple[Decongestion, ...]]:
    """What each phase says. One query for the girths of those not remembered."""
    known = {phase: _remembered[phase] for phase in phases if phase in _remembered}
    taped = _taped_in([phase for phase in phases if phase not in known])
    volumes = _volumes(taped)
    for phase, limbs in taped.items():
        courses = _courses(limbs, phase.affected_side, volumes)
        known[phase] = _remembered[phase] = tuple(decongestion(days) for days in courses)
    while len(_remembered) > MOST_REMEMBERED:
        _remembered.popitem(last=False)
    return known


# What was taped


def _phases(on: date) -> list[PhaseTaped]:
    """The intensive phases with enough days taped up to a day. One query."""
    phases = [
        PhaseTaped(
            episode_id=episode_id,
            limb=limb,
            affected_side=affected_sides(limb, regions).side,
            sessions=tuple((pk, taken_on) for _, pk, taken_on in own),
        )
        for episode_id, regions, sessions in _intensive(on)
        for limb, own in groupby(sessions, key=itemgetter(0))
    ]
    return [phase for phase in phases if len({day for _, day in phase.sessions}) >= FEWEST_DAYS]


Taken = tuple[Limb, UUID, date]


def _intensive(on: date) -> Iterator[tuple[UUID, list[AffectedRegion], list[Taken]]]:
    """(episode, its regions, what was taped by limb and day) of each in its intensive phase."""
    found: QuerySet[Any] = with_phase(Episode.objects.filter(client__deactivated_at=None))
    taken = GirthSession.objects.filter(
        episode=OuterRef("pk"),
        struck_at=None,
        taken_on__gte=OuterRef("phase_since_on"),
        taken_on__lte=on,
    )
    days = taken.order_by().values("episode").annotate(days=Count("taken_on", distinct=True))
    words = {word: F(word) for word in ("region", "side", "involvement")}
    regions = AffectedRegion.objects.filter(episode=OuterRef("pk")).values(word=JSONObject(**words))
    listed = taken.order_by("limb", "taken_on", "round", "recorded_at")
    intensive = found.filter(phase_now=Phase.INTENSIVE).annotate(
        days=Subquery(days.values("days")),
        known=ArraySubquery(regions),
        limbs=ArraySubquery(listed.values("limb")),
        keys=ArraySubquery(listed.values("pk")),
        taken=ArraySubquery(listed.values("taken_on")),
    )
    rows = intensive.filter(days__gte=FEWEST_DAYS).order_by()
    for episode_id, known, *columns in rows.values_list("pk", "known", "limbs", "keys", "taken"):
        sessions = [(Limb(limb), pk, day) for limb, pk, day in zip(*columns, strict=True)]
        yield episode_id, [AffectedRegion(**each) for each in known], sessions


def _taped_in(phases: Sequence[PhaseTaped]) -> Phases:
    """The girths of each phase, oldest session first. One query; none for no phase."""
    phase_of = {pk: (phase, day) for phase in phases for pk, day in phase.sessions}
    found: defaultdict[PhaseTaped, list[TapedLimb]] = defaultdict(list)
    for session_id, girths in girths_of(list(phase_of)):
        phase, taken_on = phase_of[session_id]
        found[phase].append(TapedLimb(session_id, taken_on, girths))
    return {phase: _like_the_last(limbs) for phase, limbs in found.items()}


def _like_the_last(limbs: Sequence[TapedLimb]) -> list[TapedLimb]:
    """Oldest first, those whose levels are counted from where the last session's are."""
    ordered = sorted(limbs, key=lambda each: each.taken_on)
    mark = ordered[-1].girths.zero_mark
    return [each for each in ordered if each.girths.zero_mark == mark]


# Volumes


def _volumes(phases: Phases) -> Volumes:
    """(session, side) -> volume over the stretch its phase shares."""
    wanted = [
        (each, LimbSection(phase.limb, each.girths, section))
        for phase, taped in phases.items()
        if (section := _shared(taped))
        for each in taped
    ]
    volumes = volumes_of([asked for _, asked in wanted])
    return {
        (each.session_id, each.girths.side): volume
        for (each, _), volume in zip(wanted, volumes, strict=True)
    }


def _shared(taped: Sequence[TapedLimb]) -> Section | None:
    from_cm = max(each.girths.levels_cm[0] for each in taped)
    to_cm = min(each.girths.levels_cm[-1] for each in taped)
    return Section(from_cm, to_cm) if to_cm > from_cm else None


# Courses


def _courses(
    taped: Sequence[TapedLimb], affected: Side | None, volumes: Volumes
) -> Iterator[list[MeasuredDay]]:
    """The excess of the affected side; each swollen limb by itself where none is compared."""
    by_session: defaultdict[UUID, dict[Side, Volume]] = defaultdict(dict)
    taken_on = {}
    for each in taped:
        if volume := volumes.get((each.session_id, each.girths.side)):
            by_session[each.session_id][each.girths.side] = volume
            taken_on[each.session_id] = each.taken_on
    if affected and (both := {key: own for key, own in by_session.items() if len(own) > 1}):
        other = affected.other
        yield [excess_day(taken_on[key], own[affected], own[other]) for key, own in both.items()]
        return
    for side in (affected,) if affected else (Side.RIGHT, Side.LEFT):
        yield [limb_day(taken_on[key], own[side]) for key, own in by_session.items() if side in own]
