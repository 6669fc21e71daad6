"""What is known about how the record is kept."""

import pgtrigger
from django.conf import settings
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, Q

from clinic.common.choices import check_values, choices_of
from clinic.common.triggers import Once, no_truncate
from clinic.common.vocabulary import Word
from clinic.keeping.retention import DEFAULT_MAJORITY, DEFAULT_YEARS


class RunKind(Word):
    BACKUP = "backup", "backup"
    DRILL = "drill", "drill"
    RESTORE = "restore", "restore"


class Run(models.Model):
    """One backup written, restored for trial (a drill) or restored in earnest, or the failure."""

    kind = models.CharField(max_length=7, choices=choices_of(RunKind))
    began_at = models.DateTimeField()
    ended_at = models.DateTimeField()
    is_good = models.BooleanField()
    file_name = models.CharField(max_length=200, blank=True)
    backup_made_at = models.DateTimeField(null=True)
    byte_count = models.PositiveBigIntegerField(null=True)
    row_count = models.PositiveBigIntegerField(null=True)
    table_count = models.PositiveIntegerField(null=True)
    said = models.CharField(max_length=400, blank=True)  # why it failed; never a client's data

    class Meta:
        ordering = ["-began_at", "-pk"]
        indexes = [models.Index(fields=["kind", "-began_at"], name="run_latest_of_kind")]
        constraints = [
            models.CheckConstraint(
                condition=Q(kind__in=check_values(RunKind)), name="run_kind_is_known"
            ),
            models.CheckConstraint(
                condition=Q(is_good=True) | ~Q(said=""), name="failed_run_says_why"
            ),
            models.CheckConstraint(
                condition=Q(ended_at__gte=F("began_at")), name="run_ends_after_it_began"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.kind} of {self.began_at:%Y-%m-%d %H:%M}"


class RetentionRule(models.Model):
    """The clinic's own periods of keeping a record. One row, always number 1."""

    id = models.PositiveSmallIntegerField(primary_key=True, default=1, editable=False)
    years_after_last_visit = models.PositiveSmallIntegerField(
        default=DEFAULT_YEARS, validators=[MinValueValidator(1), MaxValueValidator(100)]
    )
    majority_age = models.PositiveSmallIntegerField(
        "age of majority",
        default=DEFAULT_MAJORITY,
        validators=[MinValueValidator(16), MaxValueValidator(25)],
    )
    years_after_majority = models.PositiveSmallIntegerField(
        default=DEFAULT_YEARS, validators=[MaxValueValidator(100)]
    )

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(id=1), name="one_retention_rule"),
            models.CheckConstraint(
                condition=Q(years_after_last_visit__gte=1), name="records_are_kept_a_year"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.years_after_last_visit} years after the last visit"


class Merge(models.Model):
    """Two records found to be one person: everything of `other` hangs on `kept` since."""

    kept = models.ForeignKey("clients.Client", models.PROTECT, related_name="+")
    other = models.OneToOneField("clients.Client", models.PROTECT, related_name="+")
    merged_at = models.DateTimeField(auto_now_add=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    moved = models.JSONField()  # {kind of row: number}
    fields_taken = models.JSONField()  # names of the details taken from `other`, never values

    class Meta:
        ordering = ["-merged_at"]
        constraints = [
            models.CheckConstraint(condition=~Q(kept=F("other")), name="merged_two_records")
        ]
        triggers = [
            pgtrigger.Protect(name="merge_stays", operation=pgtrigger.Update | pgtrigger.Delete),
            no_truncate("no_merge_truncate"),
        ]

    def __str__(self) -> str:
        return f"{self.other_id} into {self.kept_id}"


# A hold that nobody has lifted.
STANDING = Q(lifted_at__isnull=True)


class Hold(models.Model):
    """A record that must not be erased, whatever its period: a claim or an inquiry may need it."""

    client = models.ForeignKey("clients.Client", models.PROTECT, related_name="holds")
    reason = models.CharField(max_length=200)
    placed_at = models.DateTimeField(auto_now_add=True)
    placed_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    lifted_because = models.CharField(max_length=200, blank=True)
    lifted_at = models.DateTimeField(null=True)
    lifted_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+"
    )

    class Meta:
        ordering = ["-placed_at", "-pk"]
        verbose_name, verbose_name_plural = "hold", "holds against erasure"
        constraints = [
            models.CheckConstraint(condition=~Q(reason=""), name="hold_has_reason"),
            models.CheckConstraint(
                condition=Q(lifted_at__isnull=True, lifted_by__isnull=True, lifted_because="")
                | (Q(lifted_at__isnull=False, lifted_by__isnull=False) & ~Q(lifted_because="")),
                name="hold_lifted_by_somebody_and_why",
            ),
            models.UniqueConstraint(fields=["client"], condition=STANDING, name="held_once"),
        ]
        triggers = [
            pgtrigger.Protect(name="hold_kept", operation=pgtrigger.Delete),
            pgtrigger.Protect(
                name="lifted_hold_stays",
                operation=pgtrigger.Update,
                condition=Once("lifted_at", pgtrigger.AnyChange()),
            ),
            pgtrigger.ReadOnly(
                name="hold_as_placed", fields=["client", "reason", "placed_at", "placed_by"]
            ),
            no_truncate("no_hold_truncate"),
        ]

    def __str__(self) -> str:
        return f"hold of {self.placed_at:%Y-%m-%d}"


class ErasureGround(Word):
    RETENTION = "retention", "the period of keeping is over"
    LAW = "law", "a law or a court demands it"


# An erasure that waits for its second person.
WAITING = Q(confirmed_at__isnull=True, withdrawn_at__isnull=True)
# Whoever asked cannot confirm: so nobody may become another who asked.
ASKED = ["client", "record_number", "ground", "reason", "asked_at", "asked_by"]


class Erasure(models.Model):
    """One record's content removed: asked by one person, confirmed by another, with the reason.

    What is left when everything else is gone; it names no client but by the record number.
    """

    client = models.ForeignKey("clients.Client", models.PROTECT, related_name="+")
    record_number = models.CharField(max_length=20)
    ground = models.CharField(max_length=9, choices=choices_of(ErasureGround))
    reason = models.CharField(max_length=200)
    asked_at = models.DateTimeField(auto_now_add=True)
    asked_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    confirmed_at = models.DateTimeField(null=True)
    confirmed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+"
    )
    withdrawn_at = models.DateTimeField(null=True)
    withdrawn_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+"
    )
    removed = models.JSONField(default=dict)  # {kind of row: number}

    class Meta:
        ordering = ["-asked_at", "-pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(ground__in=check_values(ErasureGround)), name="erasure_ground_is_known"
            ),
            models.CheckConstraint(condition=~Q(reason=""), name="erasure_has_reason"),
            models.CheckConstraint(
                condition=Q(confirmed_by__isnull=True) | ~Q(confirmed_by=F("asked_by")),
                name="erasure_takes_two_persons",
            ),
            models.CheckConstraint(
                condition=Q(confirmed_at__isnull=True, confirmed_by__isnull=True)
                | Q(confirmed_at__isnull=False, confirmed_by__isnull=False),
                name="erasure_confirmed_by_somebody",
            ),
            models.CheckConstraint(
                condition=Q(withdrawn_at__isnull=True, withdrawn_by__isnull=True)
                | Q(withdrawn_at__isnull=False, withdrawn_by__isnull=False),
                name="erasure_withdrawn_by_somebody",
            ),
            models.CheckConstraint(
                condition=Q(confirmed_at__isnull=True) | Q(withdrawn_at__isnull=True),
                name="erased_or_withdrawn",
            ),
            models.UniqueConstraint(
                fields=["client"],
                condition=WAITING,
                name="erasure_asked_once",
            ),
        ]
        triggers = [
            pgtrigger.Protect(name="erasure_kept", operation=pgtrigger.Delete),
            pgtrigger.Protect(
                name="confirmed_erasure_stays",
                operation=pgtrigger.Update,
                condition=Once("confirmed_at", pgtrigger.AnyChange()),
            ),
            pgtrigger.Protect(
                name="withdrawn_erasure_stays",
                operation=pgtrigger.Update,
                condition=Once("withdrawn_at", pgtrigger.AnyChange()),
            ),
            pgtrigger.ReadOnly(name="erasure_as_asked", fields=ASKED),
            no_truncate("no_erasure_truncate"),
        ]

    def __str__(self) -> str:
        return f"erasure of record {self.record_number}"

    @property
    def is_open(self) -> bool:
        return self.confirmed_at is None and self.withdrawn_at is None
