"""Garments ordered and worn, the clinic's size charts, and bandages as applied.

Pressures under a bandage are computed from the girths of the day, never stored.
"""

import uuid

import pgtrigger
from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.db.models.functions import Lower

from clinic.clients.models import Episode
from clinic.common.choices import check_values, choices_of
from clinic.common.triggers import no_truncate
from clinic.common.vocabulary import Limb, RegionSide, Side
from programmes.compression.classes import ClassSystem, band
from programmes.compression.pressure import MOST_LAYERS
from programmes.compression.words import (
    MIDLINE_PARTS,
    BodyPart,
    EndReason,
    FitSeen,
    Make,
    WornBy,
)

USER = settings.AUTH_USER_MODEL
# Wider or stronger than any bandage or garment: a slip of the keyboard. Common practice, no source.
WIDEST_CM, STRONGEST_KGF, HIGHEST_MMHG = 30, 5, 100


class Garment(models.Model):
    """One compression garment of a client: what was ordered, issued, and when it ended."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    episode = models.ForeignKey(Episode, models.PROTECT, related_name="garments")
    part = models.CharField("body part", max_length=10, choices=choices_of(BodyPart))
    side = models.CharField(max_length=7, choices=choices_of(RegionSide))
    class_system = models.CharField("standard", max_length=8, choices=choices_of(ClassSystem))
    class_name = models.CharField("class", max_length=12, blank=True)
    from_mmhg = models.PositiveSmallIntegerField("pressure from, mmHg")
    to_mmhg = models.PositiveSmallIntegerField("pressure to, mmHg", null=True, blank=True)
    worn_by = models.CharField("worn", max_length=5, choices=choices_of(WornBy))
    make = models.CharField(max_length=15, choices=choices_of(Make))
    supplier = models.CharField(max_length=120, blank=True)
    size = models.CharField(max_length=60, blank=True)
    cost_note = models.CharField(max_length=120, blank=True)
    ordered_on = models.DateField(null=True, blank=True)
    issued_on = models.DateField(null=True, blank=True)
    replacement_due_on = models.DateField(null=True, blank=True)
    ended_on = models.DateField(null=True, blank=True)
    end_reason = models.CharField(max_length=13, choices=choices_of(EndReason), blank=True)
    recorded_by = models.ForeignKey(USER, models.PROTECT, related_name="+")
    recorded_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = [F("issued_on").desc(nulls_first=True), "-ordered_on", "-recorded_at"]
        indexes = [
            models.Index(
                fields=["replacement_due_on"],
                condition=Q(ended_on=None, issued_on__isnull=False),
                name="garment_by_due_day",
            )
        ]
        constraints = [
            models.CheckConstraint(
                condition=Q(part__in=check_values(BodyPart))
                & Q(side__in=check_values(RegionSide))
                & Q(class_system__in=check_values(ClassSystem))
                & Q(worn_by__in=check_values(WornBy))
                & Q(make__in=check_values(Make))
                & Q(end_reason__in=["", *check_values(EndReason)]),
                name="garment_words_are_known",
            ),
            models.CheckConstraint(
                condition=~Q(side=RegionSide.MIDLINE) | Q(part__in=list(MIDLINE_PARTS)),
                name="garment_of_paired_part_has_side",
            ),
            models.CheckConstraint(
                condition=Q(class_system=ClassSystem.MAKER) | ~Q(class_name=""),
                name="garment_of_a_standard_has_class",
            ),
            models.CheckConstraint(
                condition=Q(from_mmhg__gte=1, from_mmhg__lte=HIGHEST_MMHG)
                & (Q(to_mmhg=None) | Q(to_mmhg__gte=F("from_mmhg"), to_mmhg__lte=HIGHEST_MMHG)),
                name="garment_pressure_is_a_band",
            ),
            models.CheckConstraint(
                condition=Q(ordered_on__isnull=False) | Q(issued_on__isnull=False),
                name="garment_ordered_or_issued",
            ),
            models.CheckConstraint(
                condition=Q(ordered_on=None)
                | Q(issued_on=None)
                | Q(issued_on__gte=F("ordered_on")),
                name="garment_issued_after_order",
            ),
            models.CheckConstraint(
                condition=Q(issued_on=None, replacement_due_on=None)
                | Q(
                    issued_on__isnull=False,
                    replacement_due_on__isnull=False,
                    replacement_due_on__gt=F("issued_on"),
                ),
                name="issued_garment_has_due_day",
            ),
            models.CheckConstraint(
                condition=Q(ended_on=None, end_reason="")
                | (Q(ended_on__isnull=False) & ~Q(end_reason="")),
                name="garment_end_has_reason",
            ),
            models.CheckConstraint(
                condition=Q(ended_on=None) | Q(issued_on=None) | Q(ended_on__gte=F("issued_on")),
                name="garment_ended_after_issue",
            ),
        ]
        triggers = [no_truncate("no_garment_truncate")]

    def __str__(self) -> str:
        return f"{self.where} garment, {self.pressure_words}"

    @property
    def where(self) -> str:
        """ "right arm"; what lies in the middle goes without a side."""
        part = BodyPart(self.part).label
        return part if self.side == RegionSide.MIDLINE else f"{RegionSide(self.side).label} {part}"

    @property
    def pressure_words(self) -> str:
        """ "class 2, 23 to 32 mmHg (RAL-GZ 387/1, stockings)": standard, class and mmHg always."""
        name = f"class {self.class_name}, " if self.class_name else ""
        standard = ClassSystem(self.class_system).label
        return f"{name}{band(self.from_mmhg, self.to_mmhg)} ({standard})"

    @property
    def is_worn(self) -> bool:
        return self.issued_on is not None and self.ended_on is None

    @property
    def is_awaited(self) -> bool:
        return self.issued_on is None and self.ended_on is None


class FitCheck(models.Model):
    """How a garment was seen to fit on one day. Kept as seen."""

    garment = models.ForeignKey(Garment, models.PROTECT, related_name="fit_checks")
    checked_on = models.DateField()
    verdict = models.CharField(max_length=8, choices=choices_of(FitSeen))
    note = models.CharField(max_length=300, blank=True)
    checked_by = models.ForeignKey(USER, models.PROTECT, related_name="+")
    recorded_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["-checked_on", "-pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(verdict__in=check_values(FitSeen)), name="fit_verdict_is_known"
            )
        ]
        triggers = [
            pgtrigger.Protect(
                name="fit_check_stays", operation=pgtrigger.Update | pgtrigger.Delete
            ),
            no_truncate("no_fit_check_truncate"),
        ]

    def __str__(self) -> str:
        return f"{FitSeen(self.verdict).label} on {self.checked_on:%Y-%m-%d}"


class SizeChart(models.Model):
    """A size chart of the clinic's own, from its file. Replaced by importing another."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    name = models.CharField(max_length=60)
    limb = models.CharField(max_length=3, choices=choices_of(Limb))
    start_landmark = models.CharField(
        "levels counted from", max_length=120, help_text="As in the protocol: ulnar styloid."
    )
    imported_by = models.ForeignKey(USER, models.PROTECT, related_name="+")
    imported_at = models.DateTimeField(auto_now_add=True)
    retired_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["limb", "name", "-imported_at"]
        constraints = [
            models.UniqueConstraint(
                Lower("name"), condition=Q(retired_at=None), name="size_chart_name_once_in_use"
            ),
            models.CheckConstraint(
                condition=Q(limb__in=check_values(Limb)), name="size_chart_limb_is_known"
            ),
        ]

    def __str__(self) -> str:
        return self.name


class SizeChartSpan(models.Model):
    """The girths that one size takes at one measuring place. Sizes in the order of the file."""

    chart = models.ForeignKey(SizeChart, models.CASCADE, related_name="spans")
    order = models.PositiveSmallIntegerField()
    size = models.CharField(max_length=40)
    place = models.CharField(max_length=60)
    level_cm = models.DecimalField(max_digits=4, decimal_places=1, null=True)
    from_cm = models.DecimalField(max_digits=5, decimal_places=2)
    to_cm = models.DecimalField(max_digits=5, decimal_places=2)

    class Meta:
        ordering = ["order"]
        constraints = [
            models.UniqueConstraint(
                fields=["chart", "size", "place"], name="span_once_per_size_and_place"
            ),
            models.CheckConstraint(
                condition=Q(from_cm__gt=0, to_cm__gte=F("from_cm")), name="span_runs_upwards"
            ),
        ]
        triggers = [pgtrigger.Protect(name="span_stays", operation=pgtrigger.Update)]

    def __str__(self) -> str:
        return f"{self.size}, {self.place}: {self.from_cm} to {self.to_cm} cm"


class BandageRecord(models.Model):
    """One limb as bandaged on one day. Kept as applied; a slip is followed by another record."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    episode = models.ForeignKey(Episode, models.PROTECT, related_name="bandages")
    limb = models.CharField(max_length=3, choices=choices_of(Limb))
    side = models.CharField(max_length=5, choices=choices_of(Side))
    applied_on = models.DateField()
    abpi = models.DecimalField("ABPI", max_digits=3, decimal_places=2, null=True, blank=True)
    note = models.CharField(max_length=300, blank=True)
    applied_by = models.ForeignKey(USER, models.PROTECT, related_name="+")
    recorded_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["-applied_on", "-recorded_at"]
        indexes = [models.Index(fields=["episode", "-applied_on"], name="bandages_by_episode")]
        constraints = [
            models.CheckConstraint(
                condition=Q(limb__in=check_values(Limb)) & Q(side__in=check_values(Side)),
                name="bandage_words_are_known",
            ),
            models.CheckConstraint(
                condition=Q(abpi=None) | Q(abpi__gt=0, limb=Limb.LEG), name="abpi_is_of_a_leg"
            ),
        ]
        triggers = [
            pgtrigger.Protect(name="bandage_stays", operation=pgtrigger.Update | pgtrigger.Delete),
            no_truncate("no_bandage_truncate"),
        ]

    def __str__(self) -> str:
        return f"{self.side} {self.limb} bandaged {self.applied_on:%Y-%m-%d}"


class BandageLayer(models.Model):
    """One bandage of a record, innermost first, in the therapist's words."""

    record = models.ForeignKey(BandageRecord, models.PROTECT, related_name="layers")
    order = models.PositiveSmallIntegerField()
    material = models.CharField(max_length=80)
    width_cm = models.DecimalField(max_digits=4, decimal_places=1)
    tension_kgf = models.DecimalField(max_digits=4, decimal_places=2)
    layers = models.PositiveSmallIntegerField()
    from_cm = models.DecimalField(max_digits=4, decimal_places=1, null=True, blank=True)
    to_cm = models.DecimalField(max_digits=4, decimal_places=1, null=True, blank=True)

    class Meta:
        ordering = ["order"]
        constraints = [
            models.UniqueConstraint(fields=["record", "order"], name="layer_once_per_order"),
            models.CheckConstraint(
                condition=Q(width_cm__gt=0, width_cm__lte=WIDEST_CM)
                & Q(tension_kgf__gt=0, tension_kgf__lte=STRONGEST_KGF)
                & Q(layers__gte=1, layers__lte=MOST_LAYERS),
                name="layer_can_be_wound",
            ),
            models.CheckConstraint(
                condition=Q(from_cm=None) | Q(to_cm=None) | Q(to_cm__gt=F("from_cm")),
                name="layer_reaches_upwards",
            ),
        ]
        triggers = [
            pgtrigger.Protect(name="layer_stays", operation=pgtrigger.Update | pgtrigger.Delete),
            no_truncate("no_layer_truncate"),
        ]

    def __str__(self) -> str:
        return f"{self.material}, {self.width_cm} cm at {self.tension_kgf} kgf"
