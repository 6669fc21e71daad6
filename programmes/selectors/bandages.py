"""Reads about limbs as bandaged."""

from django.db.models import QuerySet

from clinic.accounts import permits
from clinic.accounts.models import User
from clinic.clients.models import Episode
from clinic.common.vocabulary import Limb, Side
from programmes.applied import Wound
from programmes.compression.pressure import Bandage
from programmes.models import BandageLayer, BandageRecord


def bandages_for(user: User) -> QuerySet[BandageRecord]:
    """The records this person may see, with episode, client, person and bandages. Two queries."""
    if not permits.may(user, "garments.see"):
        return BandageRecord.objects.none()
    joined = BandageRecord.objects.select_related("episode__client", "applied_by")
    return joined.prefetch_related("layers")


def bandages_of(episode: Episode) -> list[BandageRecord]:
    """An episode's records with their bandages, latest first. Two queries."""
    return list(episode.bandages.select_related("applied_by").prefetch_related("layers"))


def last_bandaging(episode: Episode, limb: Limb, side: Side) -> BandageRecord | None:
    """How this limb was bandaged last. Two queries."""
    own = episode.bandages.filter(limb=limb, side=side)
    return own.prefetch_related("layers").first()


def layers_of(record: BandageRecord) -> tuple[Bandage, ...]:
    """A record's bandages as the pure ones, innermost first. No query if they were fetched."""
    return tuple(_wound(each).bandage for each in record.layers.all())


def _wound(layer: BandageLayer) -> Wound:
    return Wound(
        material=layer.material,
        width_cm=layer.width_cm,
        tension_kgf=layer.tension_kgf,
        layers=layer.layers,
        from_cm=layer.from_cm,
        to_cm=layer.to_cm,
    )
