"""What the clinic keeps for charting: services, phrases and its own rules."""

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, Q
from django.db.models.functions import Lower

from clinic.common.choices import check_values, choices_of
from clinic.scheduling.recalls import REPORT_EVERY_VISITS
from clinic.visits.plan_dates import CERTIFIED_DAYS
from clinic.visits.timing import TimingRule
from clinic.visits.words import Section


class Service(models.Model):
    """One service that the clinic provides, with the code it goes under and a name of its own."""

    code = models.CharField(max_length=10)
    name = models.CharField("short name", max_length=60)
    is_timed = models.BooleanField("counted by its minutes", default=True)
    active_from = models.DateField("in use from")
    active_until = models.DateField("in use until", null=True, blank=True)

    class Meta:
        ordering = ["code", "pk"]
        constraints = [
            models.UniqueConstraint(
                Lower("code"),
                condition=Q(active_until__isnull=True),
                name="service_code_in_use_once",
                violation_error_message=(
                    "Another service in use has this code. End that one first or type another."
                ),
            ),
            models.CheckConstraint(
                condition=Q(active_until__isnull=True) | Q(active_until__gte=F("active_from")),
                name="service_ends_after_start",
                violation_error_message="A service cannot end before it begins.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.code} {self.name}"


class Phrase(models.Model):
    """Words that the clinic writes often, with blanks for the client's own numbers."""

    section = models.CharField(max_length=12, choices=choices_of(Section))
    name = models.CharField(max_length=40)
    text = models.TextField(max_length=600)

    class Meta:
        ordering = ["section", "name", "pk"]
        constraints = [
            models.UniqueConstraint(
                "section",
                Lower("name"),
                name="phrase_name_once_a_section",
                violation_error_message="This part of the note has a phrase of this name already.",
            ),
            models.CheckConstraint(
                condition=Q(section__in=check_values(Section)), name="phrase_section_is_known"
            ),
        ]

    def __str__(self) -> str:
        return self.name


class ChartingRules(models.Model):
    """The clinic's own rules for charting. One row, always number 1."""

    id = models.PositiveSmallIntegerField(primary_key=True, default=1, editable=False)
    timing_rule = models.CharField(
        "timed units by", max_length=12, choices=choices_of(TimingRule),
        default=TimingRule.EIGHT_MINUTE,
    )  # fmt: skip
    report_every_days = models.PositiveSmallIntegerField(
        "progress report every so many treatment days",
        default=REPORT_EVERY_VISITS,
        validators=[MinValueValidator(1), MaxValueValidator(60)],
    )
    certified_days = models.PositiveSmallIntegerField(
        "longest certification in days",
        default=CERTIFIED_DAYS,
        validators=[MinValueValidator(7), MaxValueValidator(366)],
    )

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(id=1), name="one_set_of_charting_rules"),
            models.CheckConstraint(
                condition=Q(timing_rule__in=check_values(TimingRule)), name="timing_rule_is_known"
            ),
            models.CheckConstraint(
                condition=Q(report_every_days__range=(1, 60), certified_days__range=(7, 366)),
                name="charting_rules_in_range",
            ),
        ]

    def __str__(self) -> str:
        return "the clinic's rules for charting"
