"""What is known about how the record is kept."""

from django.db import models
from django.db.models import Q

from clinic.common.choices import check_values, choices_of
from clinic.common.vocabulary import Word


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
                condition=Q(ended_at__gte=models.F("began_at")), name="run_ends_after_it_began"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.kind} of {self.began_at:%Y-%m-%d %H:%M}"
