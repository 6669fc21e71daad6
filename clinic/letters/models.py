"""Progress letters, progress reports and discharge summaries as they were sent."""

import uuid

import pgtrigger
from django.conf import settings
from django.db import models
from django.db.models import F, Q

from clinic.clients.models import Episode, Referrer
from clinic.common.choices import check_values, choices_of
from clinic.common.triggers import no_truncate
from clinic.letters.kinds import LetterKind
from clinic.letters.runs.models import LetterRun, RunLetter
from clinic.letters.sending.models import Batch, MailAgreement, Sending

__all__ = ["Batch", "LetterRun", "MailAgreement", "ProgressLetter", "RunLetter", "Sending"]


class ProgressLetter(models.Model):
    """One letter: a draft of free text, then, once approved, the very bytes that were sent.

    A letter, a report to the payer or a discharge summary, by its `kind`; each kind uses the
    texts that `LetterKind.texts` names. Only a report may go without a referrer.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    episode = models.ForeignKey(Episode, models.PROTECT, related_name="letters")
    kind = models.CharField(max_length=9, choices=choices_of(LetterKind), default=LetterKind.LETTER)
    referrer = models.ForeignKey(
        Referrer, models.PROTECT, null=True, blank=True, related_name="letters"
    )
    period_from = models.DateField()
    period_to = models.DateField()
    bottom_line = models.CharField("the sentence that matters", max_length=300)
    treatment = models.TextField("treatment given", max_length=600, blank=True)
    response = models.TextField("response to treatment", max_length=600, blank=True)
    skilled_need = models.TextField("why skilled care is still needed", max_length=600, blank=True)
    self_care = models.TextField("self-care plan", max_length=800, blank=True)
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
                fields=["episode", "kind"],
                condition=Q(approved_at__isnull=True),
                name="one_letter_draft_of_a_kind",
            ),
            models.CheckConstraint(
                condition=Q(kind__in=check_values(LetterKind)), name="letter_kind_is_known"
            ),
            models.CheckConstraint(
                condition=Q(referrer__isnull=False) | Q(kind=LetterKind.REPORT),
                name="letter_has_a_reader",
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
        word = self.kind_word.label
        return f"{word} {self.period_from:%Y-%m-%d} to {self.period_to:%Y-%m-%d}"

    @property
    def kind_word(self) -> LetterKind:
        return LetterKind(self.kind)

    @property
    def reader(self) -> str:
        """Whom it is for, in words."""
        return str(self.referrer) if self.referrer else "the payer"

    @property
    def is_approved(self) -> bool:
        return self.approved_at is not None
