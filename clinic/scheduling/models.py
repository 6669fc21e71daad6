"""When clients come. The models of rooms, hours and kinds are in `staff_time`."""

import uuid

import pgtrigger
from django.conf import settings
from django.contrib.postgres.constraints import ExclusionConstraint
from django.contrib.postgres.fields import ArrayField, DateTimeRangeField, RangeOperators
from django.contrib.postgres.indexes import GistIndex
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Deferrable, F, Q
from django.utils import timezone

from clinic.clients.models import Client, Episode
from clinic.common.choices import check_values, choices_of
from clinic.common.triggers import no_truncate
from clinic.scheduling.staff_time import AppointmentKind, Room, whole
from clinic.scheduling.states import CANCELLED, HOLDING, CancelReason, Status
from clinic.scheduling.words import (
    OfferAnswer,
    RecallReason,
    ReminderChannel,
    Urgency,
)

USER = settings.AUTH_USER_MODEL
HELD = Q(status__in=sorted(one.value for one in HOLDING))


def once_at_a_time(resource: str, name: str) -> ExclusionConstraint:
    """No two appointments that hold their time may share a resource and a moment."""
    overlap = [(resource, RangeOperators.EQUAL), ("period", RangeOperators.OVERLAPS)]
    return ExclusionConstraint(
        name=name,
        expressions=overlap,
        condition=HELD,
        # Checked after each statement, not each row: a series may step into its own old times.
        deferrable=Deferrable.IMMEDIATE,
    )


class Authorisation(models.Model):
    """Visits that a payer has authorised. What is used and left is counted, never stored."""

    client = models.ForeignKey(Client, models.PROTECT, related_name="authorisations")
    payer = models.CharField(max_length=80)
    number = models.CharField(max_length=40)
    from_on = models.DateField("from")
    to_on = models.DateField("to")
    visits = models.PositiveSmallIntegerField("visits authorised")
    note = models.CharField(max_length=200, blank=True)
    recorded_by = models.ForeignKey(USER, models.PROTECT, related_name="+")
    recorded_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["-to_on", "-pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(to_on__gte=F("from_on")), name="authorisation_ends_after_start"
            ),
            models.CheckConstraint(condition=Q(visits__gte=1), name="authorisation_has_visits"),
        ]

    def __str__(self) -> str:
        return f"{self.payer} {self.number}"


class Series(models.Model):
    """Appointments booked together from one rule.

    `rule` is text of RFC 5545: for each part a DTSTART line (local wall time) and an RRULE line.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    client = models.ForeignKey(Client, models.PROTECT, related_name="series")
    therapist = models.ForeignKey(USER, models.PROTECT, related_name="+")
    room = models.ForeignKey(Room, models.PROTECT, null=True, blank=True, related_name="+")
    kind = models.ForeignKey(AppointmentKind, models.PROTECT, related_name="+")
    rule = models.TextField(max_length=2000)
    starts_at = models.DateTimeField()
    minutes = models.PositiveSmallIntegerField()
    booked_by = models.ForeignKey(USER, models.PROTECT, related_name="+")
    booked_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["-starts_at"]
        verbose_name_plural = "series"

    def __str__(self) -> str:
        return f"series from {timezone.localtime(self.starts_at):%Y-%m-%d}"


class Appointment(models.Model):
    """One client with one therapist, perhaps in a room, for a span of time."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    client = models.ForeignKey(Client, models.PROTECT, related_name="appointments")
    therapist = models.ForeignKey(USER, models.PROTECT, related_name="appointments")
    room = models.ForeignKey(
        Room, models.PROTECT, null=True, blank=True, related_name="appointments"
    )
    kind = models.ForeignKey(AppointmentKind, models.PROTECT, related_name="appointments")
    period = DateTimeRangeField()
    status = models.CharField(max_length=15, choices=choices_of(Status), default=Status.BOOKED)
    status_at = models.DateTimeField()
    cancel_reason = models.CharField(max_length=13, choices=choices_of(CancelReason), blank=True)
    cancel_note = models.CharField(max_length=200, blank=True)
    series = models.ForeignKey(
        Series, models.PROTECT, null=True, blank=True, related_name="appointments"
    )
    authorisation = models.ForeignKey(
        Authorisation, models.PROTECT, null=True, blank=True, related_name="appointments"
    )
    desk_note = models.CharField("note for the desk", max_length=200, blank=True)
    version = models.PositiveIntegerField(default=1)  # counts changes, as iCalendar's SEQUENCE
    booked_by = models.ForeignKey(USER, models.PROTECT, related_name="+")
    booked_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["period"]
        indexes = [GistIndex(fields=["period"], name="appointment_period")]
        constraints = [
            once_at_a_time("therapist", "therapist_once_at_a_time"),
            once_at_a_time("room", "room_once_at_a_time"),
            once_at_a_time("client", "client_once_at_a_time"),
            models.CheckConstraint(condition=whole(), name="appointment_is_whole"),
            models.CheckConstraint(
                condition=Q(status__in=check_values(Status)), name="appointment_status_is_known"
            ),
            models.CheckConstraint(
                condition=~Q(status__in=sorted(one.value for one in CANCELLED))
                | ~Q(cancel_reason=""),
                name="cancelling_has_reason",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.kind} {timezone.localtime(self.period.lower):%Y-%m-%d %H:%M}"


class StatusChange(models.Model):
    """When an appointment came into a state, by whom and why. Never changed, never deleted."""

    appointment = models.ForeignKey(Appointment, models.PROTECT, related_name="status_changes")
    status = models.CharField(max_length=15, choices=choices_of(Status))
    at = models.DateTimeField()
    by = models.ForeignKey(USER, models.PROTECT, related_name="+")
    reason = models.CharField(max_length=13, choices=choices_of(CancelReason), blank=True)
    note = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["at", "pk"]
        triggers = [
            pgtrigger.Protect(name="append_only", operation=pgtrigger.Update | pgtrigger.Delete),
            no_truncate("no_truncate"),
        ]

    def __str__(self) -> str:
        return f"{self.status} {self.at:%Y-%m-%d %H:%M}"


class WaitListEntry(models.Model):
    """Somebody who would come when a time comes free, and when they can."""

    client = models.ForeignKey(Client, models.PROTECT, related_name="wait_list_entries")
    kind = models.ForeignKey(AppointmentKind, models.PROTECT, related_name="+")
    minutes = models.PositiveSmallIntegerField()
    therapist = models.ForeignKey(USER, models.PROTECT, null=True, blank=True, related_name="+")
    weekdays = ArrayField(models.PositiveSmallIntegerField(), default=list, blank=True)
    from_time = models.TimeField("not before", null=True, blank=True)
    to_time = models.TimeField("not after", null=True, blank=True)
    from_on = models.DateField("from", null=True, blank=True)
    until_on = models.DateField("until", null=True, blank=True)
    urgency = models.CharField(max_length=5, choices=choices_of(Urgency), default=Urgency.USUAL)
    note = models.CharField(max_length=200, blank=True)
    joined_at = models.DateTimeField(auto_now_add=True)
    joined_by = models.ForeignKey(USER, models.PROTECT, related_name="+")
    closed_at = models.DateTimeField(null=True, blank=True)
    closed_reason = models.CharField(max_length=80, blank=True)

    class Meta:
        ordering = ["joined_at", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(urgency__in=check_values(Urgency)), name="urgency_is_known"
            ),
            models.CheckConstraint(
                condition=Q(closed_at__isnull=True) | ~Q(closed_reason=""),
                name="closed_entry_has_reason",
            ),
        ]

    def __str__(self) -> str:
        return f"waiting since {self.joined_at:%Y-%m-%d}"


class WaitListOffer(models.Model):
    """A free time offered to somebody on the wait list, and what they said."""

    entry = models.ForeignKey(WaitListEntry, models.PROTECT, related_name="offers")
    therapist = models.ForeignKey(USER, models.PROTECT, related_name="+")
    period = DateTimeRangeField()
    answer = models.CharField(
        max_length=9, choices=choices_of(OfferAnswer), default=OfferAnswer.OPEN
    )
    offered_at = models.DateTimeField(auto_now_add=True)
    offered_by = models.ForeignKey(USER, models.PROTECT, related_name="+")

    class Meta:
        ordering = ["offered_at", "pk"]

    def __str__(self) -> str:
        return f"{self.answer} {self.period}"


class RecallSchedule(models.Model):
    """Months between re-measurements of one episode, where it differs from the usual."""

    episode = models.OneToOneField(Episode, models.PROTECT, related_name="+")
    every_months = models.PositiveSmallIntegerField(
        validators=[MinValueValidator(1), MaxValueValidator(24)]
    )
    by = models.ForeignKey(USER, models.PROTECT, related_name="+")
    at = models.DateTimeField(auto_now=True)

    def __str__(self) -> str:
        return f"every {self.every_months} months"


class RecallSnooze(models.Model):
    """A recall put off until a day, for a reason."""

    client = models.ForeignKey(Client, models.PROTECT, related_name="recall_snoozes")
    recall = models.CharField(max_length=16, choices=choices_of(RecallReason))
    until_on = models.DateField()
    reason = models.CharField(max_length=200)
    by = models.ForeignKey(USER, models.PROTECT, related_name="+")
    at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["-at"]
        indexes = [models.Index(fields=["until_on"], name="snoozed_until")]
        constraints = [
            models.CheckConstraint(condition=~Q(reason=""), name="snooze_has_reason"),
            models.CheckConstraint(
                condition=Q(recall__in=check_values(RecallReason)), name="recall_is_known"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.recall} until {self.until_on:%Y-%m-%d}"


class ReminderConsent(models.Model):
    """How a client has agreed to be reminded. One row while it stands."""

    client = models.ForeignKey(Client, models.PROTECT, related_name="reminder_consents")
    channel = models.CharField(max_length=5, choices=choices_of(ReminderChannel))
    agreed_on = models.DateField()
    withdrawn_on = models.DateField(null=True, blank=True)
    by = models.ForeignKey(USER, models.PROTECT, related_name="+")

    class Meta:
        ordering = ["agreed_on", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["client", "channel"],
                condition=Q(withdrawn_on__isnull=True),
                name="consent_once_per_channel",
            )
        ]

    def __str__(self) -> str:
        return f"{self.channel} since {self.agreed_on:%Y-%m-%d}"


class CalendarFeed(models.Model):
    """An address under which a calendar program reads one therapist's or one room's bookings.

    Only the hash of its unguessable part is kept, so the address is shown once.
    """

    token_hash = models.CharField(max_length=64, unique=True)
    therapist = models.ForeignKey(
        USER, models.PROTECT, null=True, blank=True, related_name="calendar_feeds"
    )
    room = models.ForeignKey(
        Room, models.PROTECT, null=True, blank=True, related_name="calendar_feeds"
    )
    made_by = models.ForeignKey(USER, models.PROTECT, related_name="+")
    made_at = models.DateTimeField(auto_now_add=True)
    last_read_at = models.DateTimeField(null=True, blank=True)
    revoked_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-made_at"]
        constraints = [
            models.CheckConstraint(
                condition=Q(therapist__isnull=True, room__isnull=False)
                | Q(therapist__isnull=False, room__isnull=True),
                name="feed_of_therapist_or_room",
            )
        ]

    def __str__(self) -> str:
        return f"feed of {self.therapist or self.room}"
