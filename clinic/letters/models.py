"""Progress letters as they were sent."""

import uuid

import pgtrigger
from django.conf import settings
from django.db import models
from django.db.models import F, Q

from clinic.clients.models import Episode, Referrer
from clinic.common.triggers import no_truncate


class ProgressLetter(models.Model):
    """One letter: a draft of free text, then, once approved, the very bytes that were sent."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    episode = models.ForeignKey(Episode, models.PROTECT, related_name="letters")
    referrer = models.ForeignKey(Referrer, models.PROTECT, related_name="letters")
    period_from = models.DateField()
    period_to = models.DateField()
    bottom_line = models.CharField("the sentence that matters", max_length=300)
    treatment = models.TextField("treatment given", max_length=600, blank=True)
    adherence = models.TextField("home programme and adherence", max_length=400, blank=True)
    plan = models.TextField(max_length=600, blank=True)
    request = models.TextField("what we ask of you", max_length=400, blank=True)
    compiled_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    compiled_at = models.DateTimeField(auto_now_add=True)
    edited_at = models.DateTimeField(auto_now=True)
    approved_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+"
    )
    approved_at = models.DateTimeField(null=True, blank=True)
    summary = models.JSONField(null=True, blank=True)
    method = models.CharField(max_length=60, blank=True)
    pdf = models.BinaryField(null=True, blank=True)
    pdf_sha256 = models.CharField(max_length=64, blank=True)

    class Meta:
        ordering = ["-period_to", "-compiled_at"]
        constraints = [
            models.CheckConstraint(
                condition=Q(period_to__gte=F("period_from")), name="letter_period_runs_forward"
            ),
            models.UniqueConstraint(
                fields=["episode"],
                condition=Q(approved_at__isnull=True),
                name="one_letter_draft_per_episode",
            ),
            models.CheckConstraint(
                condition=Q(
                    approved_at__isnull=True,
                    approved_by__isnull=True,
                    pdf__isnull=True,
                    summary__isnull=True,
                    pdf_sha256="",
                )
                | Q(
                    approved_at__isnull=False,
                    approved_by__isnull=False,
                    pdf__isnull=False,
                    summary__isnull=False,
                    pdf_sha256__regex=r"^[0-9a-f]{64}$",
                ),
                name="approved_letter_is_whole",
            ),
        ]
        triggers = [
            pgtrigger.Protect(
                name="approved_letter_stays",
                operation=pgtrigger.Update | pgtrigger.Delete,
                condition=pgtrigger.Q(old__approved_at__isnull=False),
            ),
            no_truncate("no_letter_truncate"),
        ]

    def __str__(self) -> str:
        return f"letter {self.period_from:%Y-%m-%d} to {self.period_to:%Y-%m-%d}"

    @property
    def is_approved(self) -> bool:
        return self.approved_at is not None
