"""Approved letters on their way: batches, sendings, and e-mail agreed with a referrer."""

import uuid

import pgtrigger
from django.conf import settings
from django.db import models
from django.db.models import Q

from clinic.accounts.models import PaperSize
from clinic.clients.models import Referrer
from clinic.common.choices import check_values, choices_of
from clinic.common.triggers import Once, no_truncate
from clinic.letters.sending.ways import Failure, Output, State, Way

USER = settings.AUTH_USER_MODEL

# What is filled in after a sending was written down, each once.
TRYING = ["tried_at"]
SENDING = ["sent_at", "sent_by"]
FAILING = ["failed_at", "failure"]
PUTTING_BACK = ["put_back_at", "put_back_by", "put_back_reason"]
LATER = [*TRYING, *SENDING, *FAILING, *PUTTING_BACK]

# A letter counts as on its way, or gone, until it failed or was put back.
STANDING = Q(failed_at__isnull=True, put_back_at__isnull=True)


def fills_once(name: str, columns: list[str]) -> pgtrigger.Trigger:
    return pgtrigger.Protect(
        name=name,
        operation=pgtrigger.Update,
        condition=Once(columns[0], pgtrigger.AnyChange(*columns)),
    )


class Batch(models.Model):
    """Letters taken from the list together. Never changed, never deleted."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    output = models.CharField(max_length=5, choices=choices_of(Output))
    two_sided = models.BooleanField(default=False)
    address_sheets = models.BooleanField(default=False)
    paper_size = models.CharField(max_length=6, choices=choices_of(PaperSize))
    note = models.CharField(max_length=200, blank=True)
    made_by = models.ForeignKey(USER, models.PROTECT, related_name="+")
    made_at = models.DateTimeField()

    class Meta:
        ordering = ["-made_at"]
        constraints = [
            models.CheckConstraint(
                condition=Q(output__in=check_values(Output)), name="batch_output_is_known"
            ),
        ]
        triggers = [
            pgtrigger.Protect(name="batch_stays", operation=pgtrigger.Update | pgtrigger.Delete),
            no_truncate("no_batch_truncate"),
        ]

    def __str__(self) -> str:
        return f"batch of {self.made_at:%Y-%m-%d %H:%M}"

    @property
    def output_word(self) -> Output:
        return Output(self.output)


class Sending(models.Model):
    """One letter to one addressee: intended, then sent, failed or put back; each told once.

    `addressee` and `reached_at` are the lines of the address and the fax number or e-mail address
    as they stood. `tried_at` is committed before an e-mail is handed over: a row with it and no
    outcome may have been sent.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    batch = models.ForeignKey(Batch, models.PROTECT, related_name="sendings")
    letter = models.ForeignKey("letters.ProgressLetter", models.PROTECT, related_name="sendings")
    referrer = models.ForeignKey(Referrer, models.PROTECT, related_name="sendings")
    place = models.PositiveSmallIntegerField()  # in the batch's posting order, from 1
    way = models.CharField(max_length=5, choices=choices_of(Way))
    addressee = models.TextField(max_length=600)
    reached_at = models.CharField(max_length=254, blank=True)
    needs_sheet = models.BooleanField(default=False)  # the letter shows another address
    resend_reason = models.CharField(max_length=200, blank=True)
    note = models.CharField(max_length=200, blank=True)
    tried_at = models.DateTimeField(null=True, blank=True)
    sent_at = models.DateTimeField(null=True, blank=True)
    sent_by = models.ForeignKey(USER, models.PROTECT, null=True, blank=True, related_name="+")
    failed_at = models.DateTimeField(null=True, blank=True)
    failure = models.CharField(max_length=10, choices=choices_of(Failure), blank=True)
    put_back_at = models.DateTimeField(null=True, blank=True)
    put_back_by = models.ForeignKey(USER, models.PROTECT, null=True, blank=True, related_name="+")
    put_back_reason = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["batch", "place"]
        indexes = [models.Index(fields=["-sent_at"], name="sendings_by_day")]
        constraints = [
            models.UniqueConstraint(fields=["batch", "place"], name="one_sending_a_place"),
            models.UniqueConstraint(
                fields=["letter", "referrer"],
                condition=STANDING & Q(resend_reason=""),
                name="letter_once_per_addressee",
            ),
            models.UniqueConstraint(
                fields=["letter"],
                condition=STANDING & Q(sent_at__isnull=True) & ~Q(way=Way.NONE),
                name="letter_on_its_way_once",
            ),
            models.CheckConstraint(
                condition=Q(way__in=check_values(Way)), name="sending_way_is_known"
            ),
            models.CheckConstraint(
                condition=Q(sent_at__isnull=True, sent_by__isnull=True)
                | Q(sent_at__isnull=False, sent_by__isnull=False, failed_at__isnull=True),
                name="sent_by_somebody",
            ),
            models.CheckConstraint(
                condition=Q(failed_at__isnull=True, failure="")
                | Q(failed_at__isnull=False, failure__in=check_values(Failure)),
                name="failure_has_cause",
            ),
            models.CheckConstraint(
                condition=Q(put_back_at__isnull=True, put_back_by__isnull=True, put_back_reason="")
                | Q(put_back_at__isnull=False, put_back_by__isnull=False) & ~Q(put_back_reason=""),
                name="put_back_has_reason",
            ),
            models.CheckConstraint(
                condition=~Q(way=Way.NONE) | Q(sent_at__isnull=True) & ~Q(note=""),
                name="kept_letter_has_reason",
            ),
            models.CheckConstraint(
                condition=~Q(way=Way.EMAIL) | Q(sent_at__isnull=True) | Q(tried_at__isnull=False),
                name="mail_was_tried_first",
            ),
        ]
        triggers = [
            pgtrigger.Protect(
                name="sending_stays",
                operation=pgtrigger.Update,
                condition=pgtrigger.AnyChange(exclude=LATER),
            ),
            fills_once("sending_tried_once", TRYING),
            fills_once("sending_sent_once", SENDING),
            fills_once("sending_failed_once", FAILING),
            fills_once("sending_put_back_once", PUTTING_BACK),
            pgtrigger.Protect(name="sending_kept", operation=pgtrigger.Delete),
            no_truncate("no_sending_truncate"),
        ]

    def __str__(self) -> str:
        return f"sending {self.pk}"

    @property
    def way_word(self) -> Way:
        return Way(self.way)

    @property
    def state(self) -> State:
        if self.put_back_at:
            return State.PUT_BACK
        if self.failed_at:
            return State.FAILED
        if self.sent_at:
            return State.SENT
        if self.way == Way.NONE:
            return State.KEPT
        return State.UNSURE if self.tried_at else State.WAITING

    @property
    def addressee_name(self) -> str:
        return self.addressee.partition("\n")[0]


class MailAgreement(models.Model):
    """A referrer agreed to letters by e-mail, locked with a passphrase told by another way.

    The passphrase is kept sealed with the server's secret key, and wiped when the agreement ends.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    referrer = models.ForeignKey(Referrer, models.PROTECT, related_name="mail_agreements")
    sealed_passphrase = models.TextField(max_length=1000, blank=True)
    agreed_on = models.DateField()
    kept_by = models.ForeignKey(USER, models.PROTECT, related_name="+")
    kept_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True, blank=True)
    ended_by = models.ForeignKey(USER, models.PROTECT, null=True, blank=True, related_name="+")

    class Meta:
        ordering = ["-kept_at"]
        constraints = [
            models.UniqueConstraint(
                fields=["referrer"],
                condition=Q(ended_at__isnull=True),
                name="one_mail_agreement_a_referrer",
            ),
            models.CheckConstraint(
                condition=Q(ended_at__isnull=True, ended_by__isnull=True) & ~Q(sealed_passphrase="")
                | Q(ended_at__isnull=False, ended_by__isnull=False, sealed_passphrase=""),
                name="ended_agreement_has_no_passphrase",
            ),
        ]
        triggers = [
            pgtrigger.Protect(
                name="mail_agreement_stays",
                operation=pgtrigger.Update,
                condition=pgtrigger.AnyChange(
                    exclude=["sealed_passphrase", "ended_at", "ended_by"]
                ),
            ),
            pgtrigger.Protect(
                name="ended_mail_agreement_stays",
                operation=pgtrigger.Update,
                condition=pgtrigger.Q(old__ended_at__isnull=False),
            ),
            pgtrigger.Protect(name="mail_agreement_kept", operation=pgtrigger.Delete),
        ]

    def __str__(self) -> str:
        return f"mail agreement of {self.agreed_on:%Y-%m-%d}"
