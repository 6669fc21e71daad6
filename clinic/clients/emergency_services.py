"""Writes and reads of emergency access."""

from dataclasses import dataclass
from datetime import datetime

from django.core.paginator import Page, Paginator
from django.db import transaction
from django.db.models import Q, QuerySet
from django.utils import timezone

from clinic.accounts import permits
from clinic.accounts.models import User
from clinic.audit import services as audit
from clinic.clients import errors
from clinic.clients.emergency import LASTS, EmergencyAccess
from clinic.clients.models import AffectedRegion, Client, PrecautionFound, Referrer

PAGE_LENGTH = 50


@dataclass(frozen=True)
class EmergencyCard:
    """What an emergency needs of a client's record, and no more."""

    precautions: tuple[PrecautionFound, ...]
    regions: tuple[AffectedRegion, ...]
    therapists: tuple[User, ...]
    referrer: Referrer | None


@transaction.atomic
def open_emergency(*, client: Client, reason: str, by: User) -> EmergencyAccess:
    """Open a client's precautions to a person for an hour; the lead is told and reviews it."""
    now = timezone.now()
    access = EmergencyAccess.objects.create(
        client=client, by=by, reason=reason, opened_at=now, ends_at=now + LASTS
    )
    audit.record(by, "emergency.opened", client=client, subject=access)
    return access


@transaction.atomic
def review_emergency(*, access: EmergencyAccess, review: str, by: User) -> None:
    """Note what the lead found on looking into it. Once; never by who opened it.

    Raises EmergencyReviewed.
    """
    stored = EmergencyAccess.objects.select_for_update().get(pk=access.pk)
    if stored.reviewed_by:
        raise errors.EmergencyReviewed(str(stored.reviewed_by), stored.review)
    access.reviewed_at, access.reviewed_by, access.review = timezone.now(), by, review
    access.save(update_fields=["reviewed_at", "reviewed_by", "review"])
    audit.record(by, "emergency.reviewed", client=access.client, subject=access)


def open_until(client: Client, user: User) -> datetime | None:
    """Until when this person may read the client's precautions; None: not now. One query."""
    if not permits.may(user, "emergency.open"):
        return None
    open_ones = EmergencyAccess.objects.filter(client=client, by=user, ends_at__gt=timezone.now())
    return open_ones.order_by("-ends_at").values_list("ends_at", flat=True).first()


def emergency_card(client: Client) -> EmergencyCard:
    """The precautions, the sides concerned and whom to call. Four queries."""
    regions = AffectedRegion.objects.filter(episode__client=client).select_related(
        "episode__therapist"
    )
    return EmergencyCard(
        precautions=tuple(client.precautions.filter(cleared_on=None)),
        regions=tuple({(str(one), one.involvement): one for one in regions}.values()),
        therapists=tuple({one.episode.therapist: None for one in regions}),
        referrer=client.referrer,
    )


def emergencies_for(user: User) -> QuerySet[EmergencyAccess]:
    """All that a lead sees, the latest first."""
    if not permits.may(user, "emergency.review"):
        return EmergencyAccess.objects.none()
    return EmergencyAccess.objects.select_related("client", "by", "reviewed_by")


def to_review(user: User) -> QuerySet[EmergencyAccess]:
    """Those that wait for this person's review: opened by another, as the database insists."""
    return emergencies_for(user).filter(reviewed_at=None).exclude(by=user)


def emergency_page(user: User, number: object) -> Page[EmergencyAccess]:
    """One page of what a lead sees: what nobody has looked into first, the latest first."""
    listed = emergencies_for(user).annotate(is_reviewed=Q(reviewed_at__isnull=False))
    ordered = listed.order_by("is_reviewed", "-opened_at", "-pk")
    return Paginator(ordered, PAGE_LENGTH).get_page(number)


@dataclass(frozen=True)
class EmergencyNotice:
    """What the lead reads on today while an access waits for review."""

    words: str
    url_name: str = "emergencies"
    is_warning: bool = True


def notices_for(user: User) -> list[EmergencyNotice]:
    """For the lead: emergency accesses nobody has looked into. One query; none for others."""
    if not permits.may(user, "emergency.review"):
        return []
    waiting = to_review(user).count()
    times = f" {waiting} times" if waiting > 1 else ""
    words = (
        f"Emergency access was used{times}: the front desk read a client's precautions. Review it."
    )
    return [EmergencyNotice(words)] if waiting else []
