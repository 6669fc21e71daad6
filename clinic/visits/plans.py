"""Plans of care: what is aimed at, how often, for how long, and who certified it."""

import uuid

import pgtrigger
from django.conf import settings
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, Q

from clinic.clients.models import Episode
from clinic.common.choices import check_values, choices_of
from clinic.common.triggers import Once, no_truncate
from clinic.visits.words import GoalMeasure, GoalStatus

USER = settings.AUTH_USER_MODEL
CERTIFYING = ["certified_by", "certified_on", "certified_noted_by", "certified_noted_at"]
ENDING = ["ended_on", "ended_by"]


class PlanOfCare(models.Model):
    """One plan: a draft, then signed by the therapist and certified by a physician on paper.

    A signed plan is not changed; the next one supersedes it. `certified_by` is the name as it
    stands on the returned paper.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    episode = models.ForeignKey(Episode, models.PROTECT, related_name="plans")
    number = models.PositiveSmallIntegerField()
    from_on = models.DateField("period from")
    to_on = models.DateField("period to")
    visits_a_week = models.PositiveSmallIntegerField(
        validators=[MinValueValidator(1), MaxValueValidator(14)]
    )
    weeks = models.PositiveSmallIntegerField(
        "duration in weeks", validators=[MinValueValidator(1), MaxValueValidator(52)]
    )
    treatment = models.TextField("treatment planned", max_length=2000)
    outlook = models.CharField("expected outcome", max_length=300, blank=True)
    written_by = models.ForeignKey(USER, models.PROTECT, related_name="+")
    written_at = models.DateTimeField(auto_now_add=True)

    signed_at = models.DateTimeField(null=True, blank=True)
    signed_by = models.ForeignKey(USER, models.PROTECT, null=True, blank=True, related_name="+")
    signature = models.CharField(max_length=170, blank=True)
    signed = models.JSONField(null=True, blank=True)
    seal = models.CharField(max_length=64, blank=True)
    certified_by = models.CharField(max_length=120, blank=True)
    certified_on = models.DateField(null=True, blank=True)
    certified_noted_by = models.ForeignKey(
        USER, models.PROTECT, null=True, blank=True, related_name="+"
    )
    certified_noted_at = models.DateTimeField(null=True, blank=True)
    ended_on = models.DateField(null=True, blank=True)
    ended_by = models.ForeignKey(USER, models.PROTECT, null=True, blank=True, related_name="+")

    class Meta:
        ordering = ["-number"]
        constraints = [
            models.UniqueConstraint(fields=["episode", "number"], name="plan_number_once"),
            models.UniqueConstraint(
                fields=["episode"],
                condition=Q(signed_at__isnull=True),
                name="one_plan_draft_per_episode",
            ),
            models.UniqueConstraint(
                fields=["episode"],
                condition=Q(signed_at__isnull=False, ended_on__isnull=True),
                name="one_plan_in_force",
            ),
            models.CheckConstraint(condition=Q(to_on__gt=F("from_on")), name="plan_ends_after"),
            models.CheckConstraint(
                condition=Q(visits_a_week__range=(1, 14), weeks__range=(1, 52)),
                name="plan_frequency_in_range",
            ),
            models.CheckConstraint(
                condition=Q(certified_by="", certified_on__isnull=True)
                | (~Q(certified_by="") & Q(certified_on__isnull=False, signed_at__isnull=False)),
                name="plan_certified_whole_or_not",
            ),
            models.CheckConstraint(
                condition=Q(signed_at__isnull=True, seal="", signed__isnull=True)
                | (Q(signed_at__isnull=False, signed__isnull=False) & ~Q(seal="")),
                name="plan_signed_whole_or_not",
            ),
        ]
        triggers = [
            pgtrigger.Protect(
                name="signed_plan_stays",
                operation=pgtrigger.Update,
                condition=Once("signed_at", pgtrigger.AnyChange(exclude=[*CERTIFYING, *ENDING])),
            ),
            pgtrigger.Protect(
                name="certified_plan_stays",
                operation=pgtrigger.Update,
                condition=Once("certified_on", pgtrigger.AnyChange(*CERTIFYING)),
            ),
            pgtrigger.Protect(
                name="ended_plan_stays",
                operation=pgtrigger.Update,
                condition=Once("ended_on", pgtrigger.AnyChange(*ENDING)),
            ),
            pgtrigger.Protect(
                name="signed_plan_kept",
                operation=pgtrigger.Delete,
                condition=pgtrigger.Q(old__signed_at__isnull=False),
            ),
            no_truncate("no_plan_truncate"),
        ]

    def __str__(self) -> str:
        return f"plan of care {self.number}"


class Goal(models.Model):
    """One goal of a plan: what is measured, from where to where, by when.

    `instrument` names the outcome score where the measure is one; numbers are in its unit.
    """

    plan = models.ForeignKey(PlanOfCare, models.CASCADE, related_name="goals")
    place = models.PositiveSmallIntegerField(default=0)
    text = models.CharField(max_length=240)
    measure = models.CharField(max_length=15, choices=choices_of(GoalMeasure))
    instrument = models.CharField(max_length=30, blank=True)
    baseline = models.DecimalField(max_digits=8, decimal_places=2, null=True, blank=True)
    target = models.DecimalField(max_digits=8, decimal_places=2, null=True, blank=True)
    due_on = models.DateField()

    class Meta:
        ordering = ["place", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(measure__in=check_values(GoalMeasure)), name="goal_measure_is_known"
            ),
            models.CheckConstraint(
                condition=Q(measure=GoalMeasure.TOLD) | Q(target__isnull=False),
                name="measured_goal_has_target",
            ),
            models.CheckConstraint(
                condition=(Q(measure=GoalMeasure.SCORE) & ~Q(instrument=""))
                | (~Q(measure=GoalMeasure.SCORE) & Q(instrument="")),
                name="score_goal_names_instrument",
            ),
        ]
        triggers = [
            pgtrigger.Trigger(
                name="goal_of_signed_plan_stays",
                when=pgtrigger.Before,
                operation=pgtrigger.Insert | pgtrigger.Update | pgtrigger.Delete,
                func="""
                IF EXISTS (
                  SELECT 1 FROM visits_planofcare WHERE signed_at IS NOT NULL AND id IN (
                    CASE WHEN TG_OP = 'INSERT' THEN NEW.plan_id ELSE OLD.plan_id END,
                    CASE WHEN TG_OP = 'DELETE' THEN OLD.plan_id ELSE NEW.plan_id END)
                ) THEN
                  RAISE EXCEPTION 'a signed plan cannot be altered: write the next one';
                END IF;
                IF TG_OP = 'DELETE' THEN RETURN OLD; END IF;
                RETURN NEW;
                """,
            ),
            no_truncate("no_goal_truncate"),
        ]

    def __str__(self) -> str:
        return self.text


class GoalReview(models.Model):
    """How a goal stood on a day, and by what value; told again as often as needed."""

    goal = models.ForeignKey(Goal, models.PROTECT, related_name="reviews")
    status = models.CharField(max_length=7, choices=choices_of(GoalStatus))
    value = models.DecimalField(max_digits=8, decimal_places=2, null=True, blank=True)
    remark = models.CharField(max_length=240, blank=True)
    reviewed_on = models.DateField()
    reviewed_by = models.ForeignKey(USER, models.PROTECT, related_name="+")
    recorded_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["reviewed_on", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(status__in=check_values(GoalStatus)), name="goal_status_is_known"
            )
        ]
        triggers = [
            pgtrigger.Protect(
                name="goal_review_stays", operation=pgtrigger.Update | pgtrigger.Delete
            ),
            no_truncate("no_goal_review_truncate"),
        ]

    def __str__(self) -> str:
        return f"{GoalStatus(self.status).label} on {self.reviewed_on:%Y-%m-%d}"
