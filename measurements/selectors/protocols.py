"""Reads about protocols."""

from django.db.models import Count, Model, OuterRef, Prefetch, QuerySet, Subquery
from django.db.models.functions import Coalesce

from clinic.common.vocabulary import Limb
from measurements.models import GirthSession, Protocol, ProtocolStation


def protocols_in_use(limb: Limb | None = None) -> QuerySet[Protocol]:
    """Protocols a new session may follow, with their stations. Two queries."""
    found = Protocol.objects.filter(retired_at__isnull=True).prefetch_related("stations")
    return found.filter(limb=limb) if limb else found


def protocol_list() -> QuerySet[Protocol]:
    """Every protocol, those in use first, with `station_count` and `session_count`. One query.

    Each is counted by itself: joined, stations and sessions would be multiplied first.
    """
    return Protocol.objects.annotate(
        station_count=_count_of(ProtocolStation), session_count=_count_of(GirthSession)
    ).order_by("retired_at", "limb", "name")


def _count_of(model: type[Model]) -> Coalesce:
    rows = model._default_manager.filter(protocol=OuterRef("pk")).order_by()
    counted = rows.values("protocol").annotate(count=Count("pk")).values("count")
    return Coalesce(Subquery(counted), 0)


def protocols_with_stations() -> QuerySet[Protocol]:
    """Every protocol, with stations, what it replaced and what replaced it. Two queries."""
    stations = Prefetch("stations", ProtocolStation.objects.order_by("level_cm"))
    return Protocol.objects.select_related("supersedes", "superseded_by").prefetch_related(stations)


def is_used(protocol: Protocol) -> bool:
    """Whether any session, struck out or not, follows the protocol. One query."""
    return GirthSession.objects.filter(protocol=protocol).exists()
