"""Girths of many sessions with one query, and their volumes as arrays over all taped alike."""

from collections import defaultdict
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from math import hypot
from struct import iter_unpack
from typing import Any
from uuid import UUID

import numpy as np
from django.db.models import Aggregate, BinaryField, FloatField, Func
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

    In no order.
    """
    if not session_ids:
        return
    rows = (
        GirthReading.objects.filter(session_id__in=session_ids)
        .order_by()
        .values_list("session_id", "side", "session__protocol__start_landmark")
        .annotate(readings=Packed(_sent("level_cm"), _sent("trial"), _sent("girth_cm")))
    )
    for session_id, side, landmark, readings in rows:
        if girths := _girths(Side(side), landmark, sorted(iter_unpack(">ddd", readings))):
            yield session_id, girths


class Packed(Aggregate):
    """Numbers of all rows as bytes: read in a fraction of the time that their digits take."""

    function = "string_agg"
    template = "%(function)s(%(expressions)s, ''::bytea)"
    arg_joiner = " || "
    output_field = BinaryField()


def _sent(field: str) -> Func:
    """The number as its eight bytes (IEEE 754, big-endian)."""
    return Func(Cast(field, FloatField()), function="float8send", output_field=BinaryField())


def _girths(
    side: Side, landmark: str, listed: Sequence[tuple[float, float, float]]
) -> LimbGirths | None:
    """From (level, trial, girth) in order; None where fewer stations than bound a volume."""
    levels_cm, trials, girths_cm = zip(*listed, strict=True)
    stations = len(set(levels_cm))
    if stations < FEWEST_STATIONS:
        return None
    if stations == len(levels_cm):
        return LimbGirths(side, levels_cm, girths_cm, (1,) * stations, landmark)
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
