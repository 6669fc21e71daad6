"""Girths of many sessions with one query, and their volumes as arrays over all taped alike."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby
from math import hypot
from operator import itemgetter
from struct import iter_unpack
from typing import Any
from uuid import UUID

import numpy as np
from django.db import connection

from clinic.common.vocabulary import Limb, Side
from measurements.limb.error import TAPE_ERRORS
from measurements.limb.girth import FEWEST_STATIONS, LimbGirths, Reading, limb_girths
from measurements.limb.trend import Floats, HistoryVolumes, history_volumes
from measurements.limb.units import Millilitres
from measurements.limb.volume import Section, Volume, limb_volume

# Numbers come as bytes (IEEE 754, big-endian), read in a fraction of the time that digits take; a
# subquery a session, for one statement over all readings would sort them first.
GIRTHS = """
SELECT session.id, protocol.start_landmark, (
  SELECT string_agg(float8send((side = 'right')::int::float8) || float8send(level_cm::float8)
    || float8send(trial::float8) || float8send(girth_cm::float8), ''::bytea)
  FROM measurements_girthreading WHERE session_id = session.id)
FROM measurements_girthsession AS session
JOIN measurements_protocol AS protocol ON protocol.id = session.protocol_id
WHERE session.id = ANY(%s) ORDER BY session.id
"""
NUMBERS = ">dddd"  # whether it is the right side, level in cm, trial, girth in cm


@dataclass(frozen=True)
class LimbSection:
    """A limb of a session, and the stretch of it whose volume is asked for."""

    limb: Limb
    girths: LimbGirths
    section: Section


def girths_of(session_ids: Iterable[UUID]) -> Iterator[tuple[UUID, LimbGirths]]:
    """The limbs of the sessions that have stations enough for a volume. One query; none for none.

    In the order of session and side.
    """
    if not (keys := list(session_ids)):
        return
    with connection.cursor() as cursor:
        cursor.execute(GIRTHS, [keys])
        rows = cursor.fetchall()
    for session_id, landmark, readings in rows:
        listed = sorted(iter_unpack(NUMBERS, readings or b""))
        for is_right, own in groupby(listed, key=itemgetter(0)):
            side = Side.RIGHT if is_right else Side.LEFT
            if girths := _girths(side, landmark, list(own)):
                yield session_id, girths


def _girths(side: Side, landmark: str, listed: Sequence[tuple[float, ...]]) -> LimbGirths | None:
    """From rows of `NUMBERS`, in order; None where fewer stations than bound a volume."""
    _, levels_cm, trials, girths_cm = zip(*listed, strict=True)
    stations = len(set(levels_cm))
    if stations < FEWEST_STATIONS:
        return None
    if stations == len(levels_cm):
        return LimbGirths(side, levels_cm, girths_cm, (1,) * stations, landmark)
    readings = zip(levels_cm, girths_cm, map(int, trials), strict=True)
    return limb_girths([Reading(side, *each) for each in readings], side, zero_mark=landmark)


def volumes_of(asked: Sequence[LimbSection]) -> list[Volume]:
    """The volume of each in mL with its error, in the same order."""
    found = columns_of(asked)
    columns = (found.volume_ml, found.independent_error_ml, found.shared_error_ml)
    numbers = zip(asked, *(column.tolist() for column in columns), strict=True)
    return [
        Volume(
            ml=Millilitres(ml),
            error_ml=Millilitres(hypot(independent, shared)),
            independent_error_ml=Millilitres(independent),
            shared_error_ml=Millilitres(shared),
            section=each.section,
        )
        for each, ml, independent, shared in numbers
    ]


def columns_of(asked: Sequence[LimbSection]) -> HistoryVolumes:
    """The volume of each in mL with its errors, as columns in the same order."""
    alike: defaultdict[tuple[Any, ...], list[int]] = defaultdict(list)
    for place, each in enumerate(asked):
        alike[each.limb, each.section, each.girths.levels_cm, each.girths.trials].append(place)
    found = np.empty((4, len(asked)))
    for (limb, section, _, _), places in alike.items():
        found[:, places] = _alike([asked[place].girths for place in places], limb, section)
    return HistoryVolumes(*found)


def _alike(group: Sequence[LimbGirths], limb: Limb, section: Section) -> Floats:
    """Limbs taped at the same levels, at once; with several trials one by one. Rows of columns."""
    first, tape = group[0], TAPE_ERRORS[limb]
    if set(first.trials) == {1}:
        girths_cm = np.array([each.girths_cm for each in group])
        found = history_volumes(girths_cm, first.levels_cm, section=section, tape=tape)
        errors = (found.error_ml, found.independent_error_ml, found.shared_error_ml)
        return np.array([found.volume_ml, *errors])
    volumes = [limb_volume(each, section=section, tape=tape) for each in group]
    return np.array(
        [
            (each.ml, each.error_ml, each.independent_error_ml, each.shared_error_ml)
            for each in volumes
        ]
    ).T
