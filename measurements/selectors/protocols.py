"""Reads about protocols."""

from django.db.models import Count, Prefetch, QuerySet

from clinic.common.vocabulary import Limb
from measurements.models import GirthSession, Protocol, ProtocolStation


def protocols_in_use(limb: Limb | None = None) -> QuerySet[Protocol]:
    """Protocols a new session may follow, with their stations. Two queries."""
    found = Protocol.objects.filter(retired_at__isnull=True).prefetch_related("stations")
    return found.filter(limb=limb) if limb else found


def protocol_list() -> QuerySet[Protocol]:
    """Every protocol, those in use first, with `station_count` and `session_count`. One query."""
    return Protocol.objects.annotate(
        station_count=Count("stations", distinct=True),
        session_count=Count("sessions", distinct=True),
    ).order_by("retired_at", "limb", "name")


def protocols_with_stations() -> QuerySet[Protocol]:
    """Every protocol, with stations, what it replaced and what replaced it. Two queries."""
    stations = Prefetch("stations", ProtocolStation.objects.order_by("level_cm"))
    return Protocol.objects.select_related("supersedes", "superseded_by").prefetch_related(stations)


def is_used(protocol: Protocol) -> bool:
    """Whether any session, struck out or not, follows the protocol. One query."""
    return GirthSession.objects.filter(protocol=protocol).exists()
