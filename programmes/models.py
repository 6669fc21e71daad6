"""Home programmes as drafted and as given, the clinic's exercises, and what came back."""

import uuid

import pgtrigger
from django.conf import settings
from django.db import models
from django.db.models import Q
from django.db.models.functions import Lower

from clinic.accounts.models import PaperSize
from clinic.clients.models import Client, Episode
from clinic.common.choices import check_values, choices_of
from clinic.common.triggers import Once, no_truncate
from clinic.common.vocabulary import Word
from programmes.garments import (
    BandageLayer,
    BandageRecord,
    FitCheck,
    Garment,
    SizeChart,
    SizeChartSpan,
)

__all__ = [
    "AdherenceRecord",
    "BandageLayer",
    "BandageRecord",
    "ClinicDose",
    "ClinicExercise",
    "FitCheck",
    "Garment",
    "PrecautionReview",
    "Programme",
    "SizeChart",
    "SizeChartSpan",
    "Standing",
    "StepsBefore",
    "Suits",
]

DAYS_ASKED = 7
# What may still change once a programme is issued: that it ended, never what it said.
ENDING = ["withdrawn_at", "withdrawn_by", "withdrawn_reason", "superseded_at"]


class Suits(Word):
    """Whom an exercise is offered to without being looked for."""

    EVERYONE = "everyone", "everyone"
    ARM = "arm", "arm, breast or upper trunk"
    LEG = "leg", "leg, lower trunk or genital"
    HEAD_NECK = "head_neck", "head and neck"


class Standing(Word):
    """Where a programme is in its life."""

    DRAFT = "draft", "draft"
    IN_HAND = "in_hand", "in the client's hands"
    SUPERSEDED = "superseded", "superseded"
    WITHDRAWN = "withdrawn", "withdrawn"


class ClinicExercise(models.Model):
    """One exercise of the clinic's own list, in the words a client reads."""

    name = models.CharField(max_length=60)
    position = models.CharField(
        max_length=120, blank=True, help_text="For example: sit tall on a chair."
    )
    how = models.CharField("what to do", max_length=240)
    dose = models.CharField(max_length=60, help_text="For example: 10 times, twice a day.")
    suits = models.CharField(max_length=9, choices=choices_of(Suits), default=Suits.EVERYONE)
    is_offered = models.BooleanField("offered in new programmes", default=True)

    class Meta:
        ordering = ["suits", "name", "pk"]
        constraints = [
            models.UniqueConstraint(
                Lower("name"),
                name="exercise_name_once",
                violation_error_message=(
                    "Another exercise on the list has this name. Type a different one."
                ),
            ),
            models.CheckConstraint(
                condition=Q(suits__in=check_values(Suits)), name="exercise_suits_is_known"
            ),
        ]

    def __str__(self) -> str:
        return self.name


class ClinicDose(models.Model):
    """The clinic's own default counts, by their names in `body.dose`. One row, always number 1."""

    id = models.PositiveSmallIntegerField(primary_key=True, default=1, editable=False)
    counts = models.JSONField(default=dict)

    class Meta:
        constraints = [models.CheckConstraint(condition=Q(id=1), name="one_clinic_dose")]

    def __str__(self) -> str:
        return "the clinic's counts"


class Programme(models.Model):
    """One version of a client's home programme: a draft, then the very sheet that was given.

    `choices`, `dose` and `situation` are plain values of the types in `programmes.choices`,
    `body.dose` and `body.situation`; `steps` are rows of `body.steps`.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    episode = models.ForeignKey(Episode, models.PROTECT, related_name="programmes")
    number = models.PositiveSmallIntegerField()
    supersedes = models.ForeignKey("self", models.PROTECT, null=True, blank=True, related_name="+")

    choices = models.JSONField(default=dict, blank=True)
    steps = models.JSONField(default=list, blank=True)
    is_as_planned = models.BooleanField(default=True)
    times_a_day = models.PositiveSmallIntegerField(default=1)
    skin_care = models.TextField(max_length=600, blank=True)
    wear_schedule = models.TextField("compression", max_length=600, blank=True)
    breathing = models.TextField("breathing in between", max_length=400, blank=True)
    stop_and_call = models.TextField("stop and call us if", max_length=800)
    measures_at_home = models.BooleanField("the client measures at home", default=False)
    exercise_ids = models.JSONField(default=list, blank=True)
    revision = models.PositiveIntegerField(default=0)
    begun_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    begun_at = models.DateTimeField(auto_now_add=True)
    edited_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    edited_at = models.DateTimeField(auto_now=True)

    issued_at = models.DateTimeField(null=True, blank=True)
    issued_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+"
    )
    dose = models.JSONField(null=True, blank=True)
    situation = models.JSONField(null=True, blank=True)
    precautions = models.JSONField(null=True, blank=True)
    left_out = models.JSONField(null=True, blank=True)
    violations = models.JSONField(default=list, blank=True)
    unsound_reason = models.CharField(max_length=300, blank=True)
    exercises = models.JSONField(default=list, blank=True)
    printed = models.JSONField(null=True, blank=True)
    handout = models.BinaryField(null=True, blank=True)
    handout_sha256 = models.CharField(max_length=64, blank=True)
    paper_size = models.CharField(max_length=6, choices=choices_of(PaperSize), blank=True)
    superseded_at = models.DateTimeField(null=True, blank=True)
    withdrawn_at = models.DateTimeField(null=True, blank=True)
    withdrawn_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+"
    )
    withdrawn_reason = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ["-number"]
        constraints = [
            models.UniqueConstraint(fields=["episode", "number"], name="programme_number_once"),
            models.UniqueConstraint(
                fields=["episode"],
                condition=Q(issued_at__isnull=True),
                name="one_programme_draft_per_episode",
            ),
            models.UniqueConstraint(
                fields=["episode"],
                condition=Q(
                    issued_at__isnull=False, withdrawn_at__isnull=True, superseded_at__isnull=True
                ),
                name="one_programme_in_hand",
            ),
            models.CheckConstraint(
                condition=Q(
                    issued_at__isnull=True,
                    issued_by__isnull=True,
                    handout__isnull=True,
                    handout_sha256="",
                    superseded_at__isnull=True,
                    withdrawn_at__isnull=True,
                )
                | Q(
                    issued_at__isnull=False,
                    issued_by__isnull=False,
                    situation__isnull=False,
                    precautions__isnull=False,
                    dose__isnull=False,
                    printed__isnull=False,
                    handout__isnull=False,
                    handout_sha256__regex=r"^[0-9a-f]{64}$",
                    paper_size__in=check_values(PaperSize),
                ),
                name="issued_programme_is_whole",
            ),
            models.CheckConstraint(
                condition=Q(violations=[]) | ~Q(unsound_reason=""),
                name="unsound_programme_has_reason",
            ),
            models.CheckConstraint(
                condition=Q(withdrawn_at__isnull=True)
                | (Q(withdrawn_by__isnull=False) & ~Q(withdrawn_reason="")),
                name="withdrawal_has_reason",
            ),
            models.CheckConstraint(
                condition=Q(times_a_day__gte=1, times_a_day__lte=4), name="one_to_four_times_a_day"
            ),
        ]
        triggers = [
            pgtrigger.Protect(
                name="issued_programme_stays",
                operation=pgtrigger.Update,
                condition=Once("issued_at", pgtrigger.AnyChange(exclude=ENDING)),
            ),
            pgtrigger.Protect(
                name="withdrawn_programme_stays",
                operation=pgtrigger.Update,
                condition=Once("withdrawn_at", pgtrigger.AnyChange(*ENDING)),
            ),
            pgtrigger.Protect(
                name="superseded_programme_stays",
                operation=pgtrigger.Update,
                condition=Once("superseded_at", pgtrigger.AnyChange("superseded_at")),
            ),
            pgtrigger.Protect(
                name="issued_programme_kept",
                operation=pgtrigger.Delete,
                condition=pgtrigger.Q(old__issued_at__isnull=False),
            ),
            no_truncate("no_programme_truncate"),
        ]

    def __str__(self) -> str:
        return f"home programme {self.number}"

    @property
    def is_issued(self) -> bool:
        return self.issued_at is not None

    @property
    def standing(self) -> Standing:
        if self.withdrawn_at is not None:
            return Standing.WITHDRAWN
        if self.superseded_at is not None:
            return Standing.SUPERSEDED
        return Standing.IN_HAND if self.is_issued else Standing.DRAFT


class StepsBefore(models.Model):
    """The steps of a draft before an edit, so that the edit can be undone. Gone once issued."""

    programme = models.ForeignKey(Programme, models.CASCADE, related_name="before")
    revision = models.PositiveIntegerField()
    steps = models.JSONField()
    is_as_planned = models.BooleanField()
    edited_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    edited_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["programme", "-revision"]
        constraints = [
            models.UniqueConstraint(fields=["programme", "revision"], name="one_before_a_revision")
        ]

    def __str__(self) -> str:
        return f"steps before revision {self.revision}"


class PrecautionReview(models.Model):
    """The precautions asked at a visit: what was asked, and what was answered with yes."""

    client = models.ForeignKey(Client, models.PROTECT, related_name="precaution_reviews")
    asked_on = models.DateField()
    asked = models.JSONField()
    found = models.JSONField(default=list, blank=True)
    standing = models.JSONField(default=list, blank=True)
    note = models.CharField(max_length=300, blank=True)
    asked_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    recorded_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["-asked_on", "-pk"]
        indexes = [models.Index(fields=["client", "-asked_on"], name="review_by_client")]
        triggers = [
            pgtrigger.Protect(name="review_stays", operation=pgtrigger.Update | pgtrigger.Delete),
            no_truncate("no_review_truncate"),
        ]

    def __str__(self) -> str:
        return f"precautions asked {self.asked_on:%Y-%m-%d}"


class AdherenceRecord(models.Model):
    """On how many of the last seven days the programme was done, as told at a visit."""

    episode = models.ForeignKey(Episode, models.PROTECT, related_name="adherence")
    programme = models.ForeignKey(
        Programme, models.PROTECT, null=True, blank=True, related_name="adherence"
    )
    recorded_on = models.DateField()
    days_done = models.PositiveSmallIntegerField()
    hard_steps = models.JSONField(default=list, blank=True)
    note = models.CharField(max_length=300, blank=True)
    recorded_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")

    class Meta:
        ordering = ["recorded_on", "pk"]
        constraints = [
            models.UniqueConstraint(fields=["episode", "recorded_on"], name="adherence_once_a_day"),
            models.CheckConstraint(
                condition=Q(days_done__lte=DAYS_ASKED), name="at_most_seven_days_done"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.days_done} of {DAYS_ASKED} days, {self.recorded_on:%Y-%m-%d}"
