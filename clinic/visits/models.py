"""Visit notes as drafted and as signed. Lists are in `lists`, plans of care in `plans`."""

import uuid

import pgtrigger
from django.conf import settings
from django.db import models
from django.db.models import F, Q

from clinic.clients.models import Episode
from clinic.common.choices import check_values, choices_of
from clinic.common.triggers import Once, no_truncate
from clinic.scheduling.models import Appointment
from clinic.visits.lists import Service
from clinic.visits.plans import Goal, GoalReview, PlanOfCare
from clinic.visits.red_flags import RedFlagKind
from clinic.visits.reported import ProgressReported
from clinic.visits.words import NoteState, VisitKind
from programmes.models import PrecautionReview

__all__ = ["Goal", "GoalReview", "PlanOfCare", "ProgressReported", "Service"]

USER = settings.AUTH_USER_MODEL
LONGEST_VISIT_MIN = 480
# All that may still change once a note is signed, and that only once: its co-signature.
COSIGNING = ["cosigned_at", "cosigned_by", "cosignature", "cosignature_seal"]

# Rows that belong to a note stand as long as the note is a draft.
REFUSED_ONCE_SIGNED = """
IF EXISTS (
  SELECT 1 FROM visits_visitnote
  WHERE signed_at IS NOT NULL AND id IN ({rows})
) THEN
  RAISE EXCEPTION 'a signed note cannot be altered: add an addendum';
END IF;
RETURN {row};
"""


def part_of_signed_stays(name: str) -> list[pgtrigger.Trigger]:
    """Refuse every change of a row whose note is signed, on whatever path it comes."""
    return [
        pgtrigger.Trigger(
            name=f"{name}_not_added",
            when=pgtrigger.Before,
            operation=pgtrigger.Insert,
            func=REFUSED_ONCE_SIGNED.format(rows="NEW.note_id", row="NEW"),
        ),
        pgtrigger.Trigger(
            name=f"{name}_not_changed",
            when=pgtrigger.Before,
            operation=pgtrigger.Update,
            func=REFUSED_ONCE_SIGNED.format(rows="OLD.note_id, NEW.note_id", row="NEW"),
        ),
        pgtrigger.Trigger(
            name=f"{name}_not_removed",
            when=pgtrigger.Before,
            operation=pgtrigger.Delete,
            func=REFUSED_ONCE_SIGNED.format(rows="OLD.note_id", row="OLD"),
        ),
    ]


class VisitNote(models.Model):
    """One visit: a draft that saves itself, then a signed note that nobody can alter.

    `copied` names the sections taken over from `copied_from` and not touched since. `signed`
    is the whole content as it was signed, `seal` the SHA-256 of it (`visits.seal`); the
    co-signature, which comes later, has a seal of its own.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    episode = models.ForeignKey(Episode, models.PROTECT, related_name="notes")
    appointment = models.OneToOneField(
        Appointment, models.PROTECT, null=True, blank=True, related_name="note"
    )
    kind = models.CharField(max_length=15, choices=choices_of(VisitKind))
    visited_on = models.DateField("date of the visit")
    visit_min = models.PositiveSmallIntegerField("minutes of the visit", null=True, blank=True)
    therapist = models.ForeignKey(USER, models.PROTECT, related_name="notes")

    subjective = models.TextField(max_length=4000, blank=True)
    observations = models.TextField(max_length=4000, blank=True)
    response = models.TextField("response to treatment", max_length=4000, blank=True)
    plan = models.TextField(max_length=4000, blank=True)
    copied_from = models.ForeignKey("self", models.PROTECT, null=True, blank=True, related_name="+")
    copied = models.JSONField(default=list, blank=True)
    precautions_asked = models.ForeignKey(
        PrecautionReview, models.PROTECT, null=True, blank=True, related_name="+"
    )
    # Red-flag signs ticked at the visit, by their values in `red_flags`.
    signs = models.JSONField(default=list, blank=True)

    revision = models.PositiveIntegerField(default=0)
    begun_by = models.ForeignKey(USER, models.PROTECT, related_name="+")
    begun_at = models.DateTimeField(auto_now_add=True)
    edited_by = models.ForeignKey(USER, models.PROTECT, related_name="+")
    edited_at = models.DateTimeField(auto_now=True)

    signed_at = models.DateTimeField(null=True, blank=True)
    signed_by = models.ForeignKey(USER, models.PROTECT, null=True, blank=True, related_name="+")
    signature = models.CharField(max_length=170, blank=True)
    is_late_entry = models.BooleanField(default=False)
    needs_cosignature = models.BooleanField(default=False)
    signed = models.JSONField(null=True, blank=True)
    seal = models.CharField(max_length=64, blank=True)
    cosigned_at = models.DateTimeField(null=True, blank=True)
    cosigned_by = models.ForeignKey(USER, models.PROTECT, null=True, blank=True, related_name="+")
    cosignature = models.CharField(max_length=170, blank=True)
    cosignature_seal = models.CharField(max_length=64, blank=True)

    class Meta:
        ordering = ["-visited_on", "-begun_at"]
        indexes = [
            models.Index(fields=["episode", "-visited_on"], name="note_by_episode"),
            models.Index(
                fields=["therapist", "visited_on"],
                condition=Q(signed_at__isnull=True),
                name="unsigned_note_by_therapist",
            ),
        ]
        constraints = [
            models.CheckConstraint(
                condition=Q(kind__in=check_values(VisitKind)), name="visit_kind_is_known"
            ),
            models.CheckConstraint(
                condition=Q(visit_min__isnull=True) | Q(visit_min__range=(1, LONGEST_VISIT_MIN)),
                name="visit_minutes_in_range",
            ),
            models.CheckConstraint(
                condition=Q(
                    signed_at__isnull=True,
                    signed_by__isnull=True,
                    signed__isnull=True,
                    seal="",
                    signature="",
                    cosigned_at__isnull=True,
                    cosigned_by__isnull=True,
                    cosignature="",
                )
                | (
                    Q(signed_at__isnull=False, signed_by__isnull=False, signed__isnull=False)
                    & ~Q(seal="")
                    & ~Q(signature="")
                ),
                name="note_signed_whole_or_not",
            ),
            models.CheckConstraint(
                condition=Q(
                    cosigned_at__isnull=True,
                    cosigned_by__isnull=True,
                    cosignature="",
                    cosignature_seal="",
                )
                | (
                    Q(cosigned_at__isnull=False, cosigned_by__isnull=False)
                    & ~Q(cosignature="")
                    & ~Q(cosignature_seal="")
                ),
                name="note_cosigned_whole_or_not",
            ),
            models.CheckConstraint(
                condition=Q(cosigned_by__isnull=True) | ~Q(cosigned_by=F("signed_by")),
                name="cosigner_is_another",
            ),
        ]
        triggers = [
            pgtrigger.Protect(
                name="signed_note_stays",
                operation=pgtrigger.Update,
                condition=Once("signed_at", pgtrigger.AnyChange(exclude=COSIGNING)),
            ),
            pgtrigger.Protect(
                name="cosignature_stays",
                operation=pgtrigger.Update,
                condition=Once("cosigned_at", pgtrigger.AnyChange(*COSIGNING)),
            ),
            pgtrigger.Protect(
                name="signed_note_kept",
                operation=pgtrigger.Delete,
                condition=pgtrigger.Q(old__signed_at__isnull=False),
            ),
            no_truncate("no_note_truncate"),
        ]

    def __str__(self) -> str:
        return f"{VisitKind(self.kind).label} of {self.visited_on:%Y-%m-%d}"

    @property
    def state(self) -> NoteState:
        if self.signed_at is None:
            return NoteState.DRAFT
        if self.needs_cosignature and self.cosigned_at is None:
            return NoteState.AWAITING_COSIGNATURE
        return NoteState.SIGNED


class TreatmentEntry(models.Model):
    """One service given at a visit, with its minutes."""

    note = models.ForeignKey(VisitNote, models.CASCADE, related_name="treatments")
    place = models.PositiveSmallIntegerField(default=0)
    service = models.ForeignKey(Service, models.PROTECT, related_name="+")
    minutes = models.PositiveSmallIntegerField()
    remark = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["place", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(minutes__range=(1, LONGEST_VISIT_MIN)),
                name="treatment_minutes_in_range",
            ),
        ]
        triggers = [*part_of_signed_stays("treatment"), no_truncate("no_treatment_truncate")]

    def __str__(self) -> str:
        return f"{self.service}, {self.minutes} min"


class SetAside(models.Model):
    """What one device had typed when another had saved first: kept, until somebody chooses."""

    note = models.ForeignKey(VisitNote, models.CASCADE, related_name="set_aside")
    typed = models.JSONField()
    revision = models.PositiveIntegerField()  # the one that it was typed upon
    kept_by = models.ForeignKey(USER, models.PROTECT, related_name="+")
    kept_at = models.DateTimeField(auto_now=True)
    settled_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-kept_at"]
        constraints = [
            models.UniqueConstraint(
                fields=["note", "kept_by"],
                condition=Q(settled_at__isnull=True),
                name="one_text_set_aside_a_person",
            )
        ]

    def __str__(self) -> str:
        return f"text set aside at revision {self.revision}"


class RedFlagSeen(models.Model):
    """A red flag that a clinician acknowledged, and what was then done about it."""

    note = models.ForeignKey(VisitNote, models.PROTECT, related_name="red_flags")
    kind = models.CharField(max_length=20, choices=choices_of(RedFlagKind))
    because = models.CharField(max_length=300)
    action = models.CharField("what was done", max_length=300)
    seen_by = models.ForeignKey(USER, models.PROTECT, related_name="+")
    seen_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["seen_at", "pk"]
        constraints = [
            models.UniqueConstraint(fields=["note", "kind"], name="red_flag_seen_once_a_note"),
            models.CheckConstraint(
                condition=Q(kind__in=check_values(RedFlagKind)), name="red_flag_is_known"
            ),
            models.CheckConstraint(condition=~Q(action=""), name="red_flag_action_is_said"),
        ]
        triggers = [
            part_of_signed_stays("red_flag")[0],
            pgtrigger.Protect(name="red_flag_stays", operation=pgtrigger.Update | pgtrigger.Delete),
            no_truncate("no_red_flag_truncate"),
        ]

    def __str__(self) -> str:
        return RedFlagKind(self.kind).label


class Addendum(models.Model):
    """What was added to a signed note later, dated and signed itself."""

    note = models.ForeignKey(VisitNote, models.PROTECT, related_name="addenda")
    text = models.TextField(max_length=4000)
    written_by = models.ForeignKey(USER, models.PROTECT, related_name="+")
    signature = models.CharField(max_length=170)
    written_at = models.DateTimeField()
    seal = models.CharField(max_length=64)

    class Meta:
        ordering = ["written_at", "pk"]
        verbose_name_plural = "addenda"
        constraints = [
            models.CheckConstraint(condition=~Q(text="") & ~Q(seal=""), name="addendum_is_whole")
        ]
        triggers = [
            pgtrigger.Protect(name="addendum_stays", operation=pgtrigger.Update | pgtrigger.Delete),
            no_truncate("no_addendum_truncate"),
        ]

    def __str__(self) -> str:
        return f"addendum of {self.written_at:%Y-%m-%d}"
