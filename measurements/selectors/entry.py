"""Reads the entry screen needs, each with a fixed number of queries."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from uuid import UUID

from django.db.models import QuerySet

from clinic.accounts.models import User
from clinic.clients.models import Episode
from clinic.clients.selectors import episodes_for
from clinic.common.vocabulary import Limb, Side
from measurements.limb.girth import LimbGirths, Reading, limb_girths
from measurements.models import GirthDraft, GirthSession, Protocol
from measurements.taped import Station


@dataclass(frozen=True)
class LastTime:
    """The session before the one being typed; girths in cm by side and level."""

    session: GirthSession
    limbs: Mapping[Side, LimbGirths]

    @property
    def girths_cm(self) -> dict[Station, float]:
        return {(side, level): girth for side, limb in self.limbs.items() for level, girth in limb}


def sessions_for(user: User) -> QuerySet[GirthSession]:
    """Sessions of the episodes this person may see."""
    return GirthSession.objects.filter(episode__in=episodes_for(user)).select_related(
        "episode__client", "protocol", "taken_by", "struck_by"
    )


def live_sessions(episode: Episode, limb: Limb) -> QuerySet[GirthSession]:
    """Sessions of one kind of limb that are not struck out, oldest first."""
    return GirthSession.objects.filter(
        episode=episode, limb=limb, struck_at__isnull=True
    ).select_related("protocol")


def sessions_of_day(episode: Episode, limb: Limb, taken_on: date) -> list[GirthSession]:
    """Live sessions of a limb on one day, with their readings and people. Three queries."""
    found = live_sessions(episode, limb).filter(taken_on=taken_on).select_related("taken_by")
    return list(found.prefetch_related("readings", "end_readings"))


def last_time(episode: Episode, limb: Limb, *, before: date, landmark: str) -> LastTime | None:
    """The latest live session up to a day, counted from the same landmark. Two queries."""
    found = (
        live_sessions(episode, limb)
        .filter(taken_on__lte=before, protocol__start_landmark=landmark)
        .order_by("-taken_on", "-round")
        .prefetch_related("readings")
        .first()
    )
    return LastTime(found, limbs_of(found)) if found else None


def limbs_of(session: GirthSession) -> dict[Side, LimbGirths]:
    """A session's limbs that have at least two girths; readings should be prefetched."""
    readings = readings_of(session)
    taped = {side for side in Side if len({r.level_cm for r in readings if r.side == side}) > 1}
    mark = session.protocol.start_landmark
    return {side: limb_girths(readings, side, zero_mark=mark) for side in Side if side in taped}


def readings_of(session: GirthSession) -> list[Reading]:
    """A session's rows as pure readings."""
    return [
        Reading(Side(row.side), float(row.level_cm), float(row.girth_cm), row.trial)
        for row in session.readings.all()
    ]


def with_regions(episodes: QuerySet[Episode]) -> QuerySet[Episode]:
    """Adds the regions, which the entry screen asks for again and again, in one query."""
    return episodes.prefetch_related("regions")


def limbs_to_tape(episode: Episode) -> tuple[Limb, ...]:
    """The kinds of limb the episode treats, arm first; both when it treats none. One query."""
    regions = {region.region for region in episode.regions.all()}
    return tuple(limb for limb in Limb if limb.value in regions) or tuple(Limb)


def protocol_with_stations(protocol_id: UUID) -> Protocol | None:
    return Protocol.objects.prefetch_related("stations").filter(pk=protocol_id).first()


def draft_of(episode: Episode, limb: Limb, by: User) -> GirthDraft | None:
    """What this person typed and has not recorded. One query."""
    return GirthDraft.objects.filter(episode=episode, limb=limb, by=by).first()
