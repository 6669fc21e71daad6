"""What one measuring session says, between whatever reads it and the service that keeps it."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, time
from decimal import Decimal
from uuid import UUID

from clinic.common.vocabulary import Limb, Posture, Side
from measurements.limb.girth import Reading
from measurements.limb.levels import EndMeasure

# One tape position: its side and its level in cm.
Station = tuple[Side, float]


@dataclass(frozen=True)
class Confirmed:
    """What the person has looked at again and stands by."""

    girths: frozenset[Station] = frozenset()
    open_stations: bool = False
    left_over: bool = False


@dataclass(frozen=True)
class TapedFacts:
    """When and how the tape was taken, without a girth. Weight in kg."""

    limb: Limb
    protocol_id: UUID
    taken_on: date
    posture: Posture
    taken_at: time | None = None
    weight_kg: Decimal | None = None
    note: str = ""


@dataclass(frozen=True)
class SessionTaped:
    """One session as taped: facts, girths, hands or feet, and what was confirmed.

    `sides` are the limbs taped; `left_over` counts typed girths that have no place in it.
    """

    facts: TapedFacts
    sides: tuple[Side, ...]
    readings: tuple[Reading, ...]
    ends: Mapping[Side, EndMeasure] = field(default_factory=dict)
    confirmed: Confirmed = Confirmed()
    left_over: int = 0


@dataclass(frozen=True)
class SameDay:
    """What a person decided about sessions of the same limb and day that they were shown.

    `seen` are those they saw; `replaces` is the one that theirs takes the place of, for
    `reason`; without it theirs is a further round of the day.
    """

    seen: frozenset[UUID] = frozenset()
    replaces: UUID | None = None
    reason: str = ""
