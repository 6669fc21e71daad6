"""Which intensive phases have come to their plateau, for everybody at once: a recall's question.

The fit and its rules are those of the course page (`selectors.courses`), over the stretch that the
sessions of the phase share. Volumes are reckoned as arrays over all clients taped alike.
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import groupby
from math import hypot
from typing import Any
from uuid import UUID

import numpy as np
from django.contrib.postgres.aggregates import ArrayAgg
from django.db.models import Count, FloatField, OuterRef, QuerySet, Subquery
from django.db.models.functions import Cast

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
from measurements.limb.error import TAPE_ERRORS
from measurements.limb.girth import FEWEST_STATIONS, LimbGirths, Reading, limb_girths
from measurements.limb.trend import history_volumes
from measurements.limb.units import Millilitres
from measurements.limb.volume import Section, Volume, limb_volume
from measurements.models import GirthSession
from measurements.selectors.taped import AffectedSides, affected_sides

Key = tuple[UUID, Limb]  # one kind of limb in one episode


@dataclass(frozen=True)
class TapedLimb:
    """One limb of one session of an intensive phase."""

    session_id: UUID
    taken_on: date
    girths: LimbGirths


Phases = dict[Key, list[TapedLimb]]
Volumes = Mapping[tuple[UUID, Side], Volume]


def ready_for_garments(on: date) -> dict[UUID, date]:
    """Episode id -> the day since which further change is within measurement error.

    Open episodes in their intensive phase, by what was taped up to a day; with several limbs the
    last of their days, where each that fell is at its plateau. For a prompt only: the phase
    changes when the therapist says so. 3 queries, however many clients.
    """
    began_on = _intensive(on)
    regions = _regions(began_on)
    phases = _phases(began_on, on)
    volumes = _volumes(phases)
    by_episode: defaultdict[UUID, list[Decongestion]] = defaultdict(list)
    for (episode_id, limb), taped in phases.items():
        sides = affected_sides(limb, regions.get(episode_id, ()))
        by_episode[episode_id] += map(decongestion, _courses(taped, sides, volumes))
    found = {key: _level_since(courses) for key, courses in by_episode.items()}
    return {key: since_on for key, since_on in found.items() if since_on}


def _level_since(courses: Iterable[Decongestion]) -> date | None:
    """None while a limb still falls or nothing can be told; a limb that never fell is no bar."""
    fallen = [each for each in courses if each.doubt is not Doubt.NO_FALL]
    days = [each.told.within_on for each in fallen if each.told and each.is_at_plateau]
    return max(days) if days and len(days) == len(fallen) else None


def _intensive(on: date) -> dict[UUID, date]:
    """Since when each open episode with enough days taped is in its intensive phase. One query."""
    found: QuerySet[Any] = with_phase(Episode.objects.filter(client__deactivated_at=None))
    of_episode = GirthSession.objects.filter(episode=OuterRef("pk"), struck_at=None)
    in_phase = of_episode.filter(taken_on__gte=OuterRef("phase_since_on"), taken_on__lte=on)
    days = in_phase.order_by().values("episode").annotate(days=Count("taken_on", distinct=True))
    intensive = found.filter(phase_now=Phase.INTENSIVE).annotate(days=Subquery(days.values("days")))
    intensive = intensive.filter(days__gte=FEWEST_DAYS)
    return dict(intensive.order_by().values_list("pk", "phase_since_on"))


def _regions(episodes: Iterable[UUID]) -> Mapping[UUID, list[AffectedRegion]]:
    """The regions of each episode. One query."""
    by_episode: defaultdict[UUID, list[AffectedRegion]] = defaultdict(list)
    for region in AffectedRegion.objects.filter(episode_id__in=list(episodes)):
        by_episode[region.episode_id].append(region)
    return by_episode


def _phases(began_on: Mapping[UUID, date], on: date) -> Phases:
    """What was taped in each phase, oldest first, with enough days to fit. One query."""
    rows = (
        GirthSession.objects.filter(
            episode_id__in=list(began_on), struck_at=None, taken_on__lte=on, readings__isnull=False
        )
        .values_list("episode_id", "limb", "pk", "taken_on", "readings__side")
        .annotate(
            landmark=ArrayAgg("protocol__start_landmark", distinct=True),
            levels_cm=_listed("level_cm"),
            girths_cm=_listed("girth_cm"),
            trials=ArrayAgg("readings__trial", order_by=("readings__level_cm", "readings__trial")),
        )
        .order_by("episode_id", "limb", "taken_on", "round", "pk")
    )
    in_phase = (row for row in rows if row[3] >= began_on[row[0]])
    grouped = groupby(in_phase, key=lambda row: (row[0], Limb(row[1])))
    found = {key: _like_the_last([_taped(row) for row in own]) for key, own in grouped}
    return {key: taped for key, taped in found.items() if _days(taped) >= FEWEST_DAYS}


def _listed(field: str) -> ArrayAgg:
    return ArrayAgg(
        Cast(f"readings__{field}", FloatField()), order_by=("readings__level_cm", "readings__trial")
    )


def _days(taped: Sequence[TapedLimb]) -> int:
    return len({each.taken_on for each in taped})


def _taped(row: Sequence[Any]) -> TapedLimb | None:
    """None where fewer stations were taped than bound a volume."""
    _, _, session_id, taken_on, side, (landmark, *_), levels_cm, girths_cm, trials = row
    if len(set(levels_cm)) < FEWEST_STATIONS:
        return None
    if len(set(levels_cm)) == len(levels_cm):
        once = (1,) * len(levels_cm)
        girths = LimbGirths(Side(side), tuple(levels_cm), tuple(girths_cm), once, landmark)
    else:
        readings = zip(levels_cm, girths_cm, trials, strict=True)
        girths = limb_girths(
            [Reading(Side(side), *each) for each in readings], Side(side), zero_mark=landmark
        )
    return TapedLimb(session_id, taken_on, girths)


def _like_the_last(taped: Sequence[TapedLimb | None]) -> list[TapedLimb]:
    """Those whose levels are counted from where the last session's are."""
    known = [each for each in taped if each]
    return [each for each in known if each.girths.zero_mark == known[-1].girths.zero_mark]


# Volumes


def _volumes(phases: Phases) -> Volumes:
    """(session, side) -> volume over the stretch its phase shares."""
    alike: defaultdict[tuple[Any, ...], list[TapedLimb]] = defaultdict(list)
    for (_, limb), taped in phases.items():
        section = _shared(taped)
        for each in taped if section else ():
            alike[limb, section, each.girths.levels_cm, each.girths.trials].append(each)
    return {
        (each.session_id, each.girths.side): volume
        for (limb, section, _, _), group in alike.items()
        for each, volume in zip(group, _alike(group, limb, section), strict=True)
    }


def _shared(taped: Sequence[TapedLimb]) -> Section | None:
    from_cm = max(each.girths.levels_cm[0] for each in taped)
    to_cm = min(each.girths.levels_cm[-1] for each in taped)
    return Section(from_cm, to_cm) if to_cm > from_cm else None


def _alike(group: Sequence[TapedLimb], limb: Limb, section: Section) -> Iterator[Volume]:
    """Limbs taped at the same levels, at once; with several trials one by one."""
    first, tape = group[0].girths, TAPE_ERRORS[limb]
    if set(first.trials) != {1}:
        yield from (limb_volume(each.girths, section=section, tape=tape) for each in group)
        return
    girths_cm = np.array([each.girths.girths_cm for each in group])
    found = history_volumes(girths_cm, first.levels_cm, section=section, tape=tape)
    columns = (found.volume_ml, found.independent_error_ml, found.shared_error_ml)
    for ml, independent, shared in zip(*(column.tolist() for column in columns), strict=True):
        yield Volume(
            ml=Millilitres(ml),
            error_ml=Millilitres(hypot(independent, shared)),
            independent_error_ml=Millilitres(independent),
            shared_error_ml=Millilitres(shared),
            section=section,
        )


# Courses


def _courses(
    taped: Sequence[TapedLimb], sides: AffectedSides, volumes: Volumes
) -> Iterator[list[MeasuredDay]]:
    """The excess of the affected side; each swollen limb by itself where none is compared."""
    by_session: defaultdict[UUID, dict[Side, Volume]] = defaultdict(dict)
    taken_on = {}
    for each in taped:
        if volume := volumes.get((each.session_id, each.girths.side)):
            by_session[each.session_id][each.girths.side] = volume
            taken_on[each.session_id] = each.taken_on
    affected = sides.side
    if affected and (both := {key: own for key, own in by_session.items() if len(own) > 1}):
        other = affected.other
        yield [excess_day(taken_on[key], own[affected], own[other]) for key, own in both.items()]
        return
    for side in (affected,) if affected else (Side.RIGHT, Side.LEFT):
        yield [limb_day(taken_on[key], own[side]) for key, own in by_session.items() if side in own]
