"""Emergency access: what the front desk may read of one client, for an hour, for a reason.

Therapists and the lead see every client's record anyway. The front desk sees no clinical content;
when somebody is taken ill at the desk, the precautions and the sides concerned must not depend on a
therapist being in. Nothing else is opened, and nothing can be changed.
"""

from datetime import timedelta

import pgtrigger
from django.conf import settings
from django.db import models
from django.db.models import F, Q

from clinic.common.triggers import no_truncate

# Common practice, no source: long enough for an ambulance to come, short enough not to stay open.
LASTS = timedelta(minutes=60)
USER = settings.AUTH_USER_MODEL


class EmergencyAccess(models.Model):
    """Who opened which client's precautions, when and why; and what the lead said of it."""

    client = models.ForeignKey("clients.Client", models.PROTECT, related_name="emergency_accesses")
    by = models.ForeignKey(USER, models.PROTECT, related_name="+")
    reason = models.CharField(max_length=300)
    opened_at = models.DateTimeField()
    ends_at = models.DateTimeField()
    reviewed_at = models.DateTimeField(null=True)
    reviewed_by = models.ForeignKey(USER, models.PROTECT, null=True, related_name="+")
    review = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ["-opened_at", "-pk"]
        indexes = [
            models.Index(
                fields=["opened_at"],
                condition=Q(reviewed_at__isnull=True),
                name="emergency_to_review",
            )
        ]
        constraints = [
            models.CheckConstraint(condition=~Q(reason=""), name="emergency_has_reason"),
            models.CheckConstraint(
                condition=Q(ends_at__gt=F("opened_at"), ends_at__lte=F("opened_at") + LASTS),
                name="emergency_is_short",
            ),
            models.CheckConstraint(
                condition=Q(reviewed_at__isnull=True, reviewed_by__isnull=True, review="")
                | (Q(reviewed_at__isnull=False, reviewed_by__isnull=False) & ~Q(review="")),
                name="emergency_review_is_whole",
            ),
            models.CheckConstraint(
                condition=Q(reviewed_by__isnull=True) | ~Q(reviewed_by=F("by")),
                name="emergency_reviewed_by_another",
            ),
        ]
        triggers = [
            pgtrigger.Protect(name="kept", operation=pgtrigger.Delete),
            pgtrigger.ReadOnly(
                name="as_opened", fields=["client", "by", "reason", "opened_at", "ends_at"]
            ),
            pgtrigger.Protect(
                name="reviewed_once",
                operation=pgtrigger.Update,
                condition=pgtrigger.Q(old__reviewed_at__isnull=False),
            ),
            no_truncate("no_truncate"),
        ]
