"""What clients ask about their own record: a copy, a correction. Answered once, then kept."""

from datetime import date

import pgtrigger
from django.conf import settings
from django.db import models
from django.db.models import F, Q

from clinic.clients.periods import copy_due_on, correction_due_on
from clinic.common.choices import check_values, choices_of
from clinic.common.triggers import Once, no_truncate
from clinic.common.vocabulary import Word

USER = settings.AUTH_USER_MODEL


class HandedOver(Word):
    """How a copy reached the client."""

    HAND = "hand", "by hand"
    POST = "post", "by post"
    EMAIL = "email", "by secure e-mail"


def kept_once(filled: str) -> list[pgtrigger.Trigger]:
    """A request stays; once answered its answer stays as well."""
    return [
        pgtrigger.Protect(
            name="answer_stays",
            operation=pgtrigger.Update,
            condition=Once(filled, pgtrigger.AnyChange()),
        ),
        pgtrigger.Protect(name="request_stays", operation=pgtrigger.Delete),
        no_truncate("no_request_truncate"),
    ]


class RecordRequest(models.Model):
    """What both kinds of request have: who asked when, and who noted it."""

    asked_on = models.DateField("asked on")
    asked_by = models.CharField(
        "asked by", max_length=120, help_text="The client, or who may speak for the client."
    )
    noted_by = models.ForeignKey(USER, models.PROTECT, related_name="+")
    noted_at = models.DateTimeField(auto_now_add=True)
    closed_on = models.DateField("answered on", null=True, blank=True)
    closed_by = models.ForeignKey(USER, models.PROTECT, null=True, blank=True, related_name="+")

    class Meta:
        abstract = True
        ordering = ["-asked_on", "-pk"]

    @property
    def is_open(self) -> bool:
        return self.closed_on is None


class CopyRequest(RecordRequest):
    """The client asks for a copy of the own record."""

    client = models.ForeignKey("clients.Client", models.PROTECT, related_name="copy_requests")
    identity = models.CharField(
        "how identity was checked", max_length=120, help_text="For example a photo card, seen."
    )
    with_accesses = models.BooleanField("with the list of who opened the record", default=False)
    handed_over = models.CharField(
        "handed over", max_length=5, choices=choices_of(HandedOver), blank=True
    )
    refused_because = models.CharField("no copy is given because", max_length=300, blank=True)

    class Meta(RecordRequest.Meta):
        constraints = [
            models.CheckConstraint(
                condition=Q(closed_on=None, closed_by=None, handed_over="", refused_because="")
                | (
                    Q(closed_on__gte=F("asked_on"), closed_by__isnull=False)
                    & (
                        Q(handed_over__in=check_values(HandedOver), refused_because="")
                        | (Q(handed_over="") & ~Q(refused_because=""))
                    )
                ),
                name="copy_answered_whole_or_not",
            )
        ]
        triggers = kept_once("closed_on")

    def __str__(self) -> str:
        return f"copy asked for on {self.asked_on:%Y-%m-%d}"

    @property
    def due_on(self) -> date:
        return copy_due_on(self.asked_on)


class CorrectionRequest(RecordRequest):
    """The client says that something in the record is wrong."""

    client = models.ForeignKey("clients.Client", models.PROTECT, related_name="corrections")
    claimed_wrong = models.TextField("what is said to be wrong", max_length=2000)
    wished = models.TextField("what is asked for", max_length=2000)
    is_accepted = models.BooleanField(null=True, blank=True)
    answer = models.TextField(max_length=2000, blank=True)

    class Meta(RecordRequest.Meta):
        constraints = [
            models.CheckConstraint(
                condition=Q(closed_on=None, closed_by=None, is_accepted=None, answer="")
                | (
                    Q(
                        closed_on__gte=F("asked_on"),
                        closed_by__isnull=False,
                        is_accepted__isnull=False,
                    )
                    & ~Q(answer="")
                ),
                name="correction_answered_whole_or_not",
            )
        ]
        triggers = kept_once("closed_on")

    def __str__(self) -> str:
        return f"correction asked for on {self.asked_on:%Y-%m-%d}"

    @property
    def due_on(self) -> date:
        return correction_due_on(self.asked_on)
