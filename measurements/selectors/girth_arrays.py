"""Girths of many sessions with one query, and their volumes as arrays over all taped alike."""

from collections import defaultdict
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from math import hypot
from typing import Any
from uuid import UUID

import numpy as np
from django.contrib.postgres.aggregates import ArrayAgg
from django.db.models import FloatField
from django.db.models.functions import Cast

from clinic.common.vocabulary import Limb, Side
from measurements.limb.error import TAPE_ERRORS
from measurements.limb.girth import FEWEST_STATIONS, LimbGirths, Reading, limb_girths
from measurements.limb.trend import history_volumes
from measurements.limb.units import Millilitres
from measurements.limb.volume import Section, Volume, limb_volume
from measurements.models import GirthReading


@dataclass(frozen=True)
class LimbSection:
    """A limb of a session, and the stretch of it whose volume is asked for."""

    limb: Limb
    girths: LimbGirths
    section: Section


def girths_of(session_ids: Collection[UUID]) -> Iterator[tuple[UUID, LimbGirths]]:
    """The limbs of the sessions that have stations enough for a volume. One query; none for none.

    In the order of session and side.
    """
    if not session_ids:
        return
    rows = (
        GirthReading.objects.filter(session_id__in=session_ids)
        .order_by("session_id", "side")
        .values_list("session_id", "side", "session__protocol__start_landmark")
        .annotate(
            levels_cm=_listed("level_cm"), girths_cm=_listed("girth_cm"), trials=_listed("trial")
        )
    )
    for session_id, side, landmark, *listed in rows:
        if girths := _girths(Side(side), landmark, listed):
            yield session_id, girths


def _listed(field: str) -> ArrayAgg:
    return ArrayAgg(Cast(field, FloatField()), order_by=("level_cm", "trial"))


def _girths(side: Side, landmark: str, listed: Sequence[list[float]]) -> LimbGirths | None:
    """From levels, girths and trials; None where fewer stations were taped than bound a volume."""
    levels_cm, girths_cm, trials = listed
    stations = len(set(levels_cm))
    if stations < FEWEST_STATIONS:
        return None
    if stations == len(levels_cm):
        once = (1,) * stations
        return LimbGirths(side, tuple(levels_cm), tuple(girths_cm), once, landmark)
    readings = zip(levels_cm, girths_cm, map(int, trials), strict=True)
    return limb_girths([Reading(side, *each) for each in readings], side, zero_mark=landmark)


def volumes_of(asked: Sequence[LimbSection]) -> list[Volume]:
    """The volume of each in mL with its error, in the same order."""
    alike: defaultdict[tuple[Any, ...], list[int]] = defaultdict(list)
    for place, each in enumerate(asked):
        alike[each.limb, each.section, each.girths.levels_cm, each.girths.trials].append(place)
    found = {
        place: volume
        for (limb, section, _, _), places in alike.items()
        for place, volume in zip(
            places, _alike([asked[place].girths for place in places], limb, section), strict=True
        )
    }
    return [found[place] for place in range(len(asked))]


def _alike(group: Sequence[LimbGirths], limb: Limb, section: Section) -> Iterator[Volume]:
    """Limbs taped at the same levels, at once; with several trials one by one."""
    first, tape = group[0], TAPE_ERRORS[limb]
    if set(first.trials) != {1}:
        yield from (limb_volume(each, section=section, tape=tape) for each in group)
        return
    girths_cm = np.array([each.girths_cm for each in group])
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
