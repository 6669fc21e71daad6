"""Writes about limbs as bandaged."""

from django.db import transaction
from django.utils import timezone

from clinic.accounts.models import User
from clinic.audit import services as audit
from clinic.clients.models import Episode
from programmes.applied import Bandaging
from programmes.compression.arterial import (
    DEFAULT_LIMITS,
    ArterialAdvice,
    ArterialLimits,
    arterial_advice,
)
from programmes.errors import ArteriesBar, DaysCross, DayStillToCome, NoLayers
from programmes.models import BandageLayer, BandageRecord


@transaction.atomic
def record_bandaging(
    *, episode: Episode, bandaging: Bandaging, by: User, limits: ArterialLimits = DEFAULT_LIMITS
) -> BandageRecord:
    """Keep how a limb was bandaged, or nothing.

    Raises NoLayers, DayStillToCome, DaysCross, and ArteriesBar for an ABPI that bars compression.
    """
    _check(episode, bandaging, limits)
    record = BandageRecord.objects.create(
        episode=episode,
        limb=bandaging.limb,
        side=bandaging.side,
        applied_on=bandaging.applied_on,
        abpi=bandaging.abpi,
        note=bandaging.note,
        applied_by=by,
    )
    BandageLayer.objects.bulk_create(
        BandageLayer(record=record, order=order, **vars(wound))
        for order, wound in enumerate(bandaging.wound, start=1)
    )
    audit.record(by, "bandage.recorded", client=episode.client, subject=record)
    return record


def _check(episode: Episode, bandaging: Bandaging, limits: ArterialLimits) -> None:
    if not bandaging.wound:
        raise NoLayers
    if bandaging.applied_on > timezone.localdate():
        raise DayStillToCome("applied_on")
    if bandaging.applied_on < episode.opened_on:
        raise DaysCross("applied_on", what="opened", earliest_on=episode.opened_on)
    abpi = bandaging.abpi
    if abpi is not None and arterial_advice(float(abpi), limits) is ArterialAdvice.BARRED:
        raise ArteriesBar(float(abpi), limits.bar_below)


def note_bandages_seen(*, episode: Episode, by: User) -> None:
    """Keep in the record that somebody looked at how a limb was bandaged."""
    audit.record(by, "bandages.seen", client=episode.client, subject=episode)


def note_fitting(*, episode: Episode, by: User) -> None:
    """Keep in the record that somebody opened the fitting form of a garment."""
    audit.record(by, "garment.fitting", client=episode.client, subject=episode)
