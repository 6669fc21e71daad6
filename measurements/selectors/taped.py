"""Measuring sessions as read from the database: the facts, the girths, the sides that matter."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from functools import lru_cache
from typing import Any, Protocol
from uuid import UUID

from django.db.models import QuerySet, prefetch_related_objects
from django.utils import timezone

from clinic.clients.models import AffectedRegion, Episode
from clinic.common.vocabulary import Involvement, Limb, Posture, Region, RegionSide, Side
from measurements.limb.comparison import Weights
from measurements.limb.error import TAPE_ERRORS, TapeError
from measurements.limb.girth import FEWEST_STATIONS, LimbGirths, Reading, limb_girths
from measurements.models import GirthReading, GirthSession
from measurements.report import SessionFacts

LimbKey = tuple[UUID, Limb]  # episode, kind of limb

# Regions whose treatment puts a limb at risk when the limb itself is not named; anatomy.
WATCHED_FOR: dict[Limb, tuple[Region, ...]] = {
    Limb.ARM: (Region.BREAST, Region.TRUNK_UPPER),
    Limb.LEG: (Region.TRUNK_LOWER,),
}


@dataclass(frozen=True)
class AffectedSides:
    """The side to set against the other, or that both are affected, or neither (None, False)."""

    side: Side | None
    is_bilateral: bool

    @property
    def are_any(self) -> bool:
        return self.side is not None or self.is_bilateral


NOT_SAID = AffectedSides(None, is_bilateral=False)


@dataclass(frozen=True)
class BriefFacts:
    """Of a session, what comparing it with others asks for."""

    id: UUID
    limb: Limb
    taken_on: date
    posture: Posture
    is_baseline: bool
    weight_kg: float | None


@dataclass(frozen=True)
class TapedLimbs:
    """The limbs of one session, by side; a side that was not taped is None."""

    facts: SessionFacts | BriefFacts
    sides: AffectedSides
    left: LimbGirths | None
    right: LimbGirths | None

    @property
    def tape(self) -> TapeError:
        """The tape's error on this kind of limb."""
        return TAPE_ERRORS[self.facts.limb]

    def of(self, side: Side) -> LimbGirths | None:
        return self.left if side is Side.LEFT else self.right

    @property
    def limbs(self) -> tuple[LimbGirths, ...]:
        return tuple(girths for girths in (self.left, self.right) if girths)

    @property
    def pair(self) -> tuple[LimbGirths, LimbGirths] | None:
        """(affected, other), when both were taped and one side counts as affected."""
        if self.sides.side is None:
            return None
        affected, other = self.of(self.sides.side), self.of(self.sides.side.other)
        return (affected, other) if affected and other else None


@dataclass(frozen=True)
class Taped(TapedLimbs):
    """One session with all that was written down of it."""

    facts: SessionFacts
    session: GirthSession
    readings: tuple[GirthReading, ...]


def weights_of(now: TapedLimbs, then: TapedLimbs) -> Weights | None:
    """Body weight in kg (now, then) where it has a say: in bilateral disease."""
    return (now.facts.weight_kg, then.facts.weight_kg) if now.sides.is_bilateral else None


class RegionSaid(Protocol):
    """A region of an episode, as far as it decides what is set against what."""

    @property
    def region(self) -> str: ...

    @property
    def side(self) -> str: ...

    @property
    def involvement(self) -> str: ...


def affected_sides(limb: Limb, regions: Iterable[RegionSaid]) -> AffectedSides:
    """Swollen sides of the limb count; without any, sides at risk; then sides treated nearby."""
    return _sides(limb, frozenset((each.region, each.side, each.involvement) for each in regions))


@lru_cache(maxsize=1024)  # few combinations, asked for thousands of times
def _sides(limb: Limb, known: frozenset[tuple[str, str, str]]) -> AffectedSides:
    own = [each for each in known if each[0] == limb]
    swollen = [each for each in own if each[2] == Involvement.SWOLLEN]
    near = [each for each in known if each[0] in WATCHED_FOR[limb]]
    for chosen in (swollen, own, near):
        sides = {Side(side) for _, side, _ in chosen if side != RegionSide.MIDLINE}
        if sides:
            return AffectedSides(sides.pop() if len(sides) == 1 else None, len(sides) > 1)
    return NOT_SAID


def sides_of(episode_ids: QuerySet[Any, Any] | Iterable[UUID]) -> dict[LimbKey, AffectedSides]:
    """Of each kind of limb in each episode that names a region. One query."""
    regions: defaultdict[UUID, list[Any]] = defaultdict(list)
    said = AffectedRegion.objects.filter(episode__in=episode_ids)
    columns = ("episode_id", "region", "side", "involvement")
    for row in said.values_list(*columns, named=True):
        regions[row.episode_id].append(row)
    return {(key, limb): affected_sides(limb, own) for key, own in regions.items() for limb in Limb}


def swollen_side(limb: Limb, regions: Iterable[AffectedRegion]) -> Side | None:
    """The one side on which the limb itself is swollen; None: both, neither, or at risk only."""
    own = [each for each in regions if each.region == limb]
    return affected_sides(
        limb, [each for each in own if each.involvement == Involvement.SWOLLEN]
    ).side


def sessions_listed(episodes: Iterable[Episode]) -> list[GirthSession]:
    """Every session that is not struck out, oldest first, without its girths. One query.

    Each shares the episode it was asked for, so that regions fetched already serve again.
    """
    known = {episode.pk: episode for episode in episodes}
    found = GirthSession.objects.filter(episode_id__in=known, struck_at=None)
    listed = list(joined(found).order_by("taken_on", "round", "recorded_at"))
    for session in listed:
        session.episode = known[session.episode_id]
    return listed


def joined(sessions: QuerySet[GirthSession]) -> QuerySet[GirthSession]:
    """Adds protocol and people, in the same query."""
    return sessions.select_related("protocol", "taken_by", "struck_by")


def taped(sessions: Iterable[GirthSession]) -> dict[UUID, Taped]:
    """The sessions with girths, stations, hands or feet and regions: four queries for all."""
    chosen = list(sessions)
    prefetch_related_objects(
        chosen, "readings", "end_readings", "protocol__stations", "episode__regions"
    )
    return {session.pk: _taped(session) for session in chosen}


def _taped(session: GirthSession) -> Taped:
    readings = tuple(session.readings.all())
    return Taped(
        session=session,
        facts=_facts(session),
        sides=affected_sides(Limb(session.limb), session.episode.regions.all()),
        left=_girths(session, readings, Side.LEFT),
        right=_girths(session, readings, Side.RIGHT),
        readings=readings,
    )


def _girths(session: GirthSession, rows: Iterable[GirthReading], side: Side) -> LimbGirths | None:
    """The limb's girths; None when fewer stations were taped than bound a volume."""
    readings = [
        Reading(side, float(each.level_cm), float(each.girth_cm), each.trial)
        for each in rows
        if each.side == side
    ]
    if len({reading.level_cm for reading in readings}) < FEWEST_STATIONS:
        return None
    return limb_girths(readings, side, zero_mark=session.protocol.start_landmark)


def _facts(session: GirthSession) -> SessionFacts:
    return SessionFacts(
        id=session.pk,
        episode_id=session.episode_id,
        client_id=session.episode.client_id,
        limb=Limb(session.limb),
        taken_on=session.taken_on,
        taken_at=session.taken_at,
        round=session.round,
        posture=Posture(session.posture),
        weight_kg=kilograms(session.weight_kg),
        note=session.note,
        protocol=session.protocol.name,
        start_landmark=session.protocol.start_landmark,
        end_handling=session.protocol.get_end_handling_display(),
        taken_by=session.taken_by.signature,
        is_baseline=session.is_baseline,
        is_struck=session.struck_at is not None,
        struck_on=timezone.localdate(session.struck_at) if session.struck_at else None,
        struck_by=session.struck_by.signature if session.struck_by else "",
        struck_reason=session.struck_reason,
    )


def kilograms(weight_kg: Decimal | None) -> float | None:
    return None if weight_kg is None else float(weight_kg)
