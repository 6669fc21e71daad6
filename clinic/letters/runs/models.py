"""A month's run and what it decided about each episode."""

import uuid

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from clinic.clients.models import Episode
from clinic.common.choices import check_values, choices_of
from clinic.letters.runs.words import OWED_FOR, WITH_LETTER, Failure, Reason, RowState
from clinic.letters.story_words import Story

NOT_OWED_VALUES = [value for value in check_values(Reason) if value not in OWED_FOR]
OWED_VALUES = [value for value in check_values(Reason) if value in OWED_FOR]
LETTER_VALUES = [state.value for state in WITH_LETTER]


class LetterRun(models.Model):
    """The letters of one month. Where it stands follows from its rows."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    month = models.DateField(unique=True, help_text="Its first day.")
    started_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    started_at = models.DateTimeField()
    considered_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    considered_at = models.DateTimeField()

    class Meta:
        ordering = ["-month"]
        constraints = [
            models.CheckConstraint(condition=Q(month__day=1), name="run_month_is_a_first_day"),
            models.CheckConstraint(
                condition=Q(considered_at__gte=F("started_at")), name="run_repeats_after_its_start"
            ),
        ]

    def __str__(self) -> str:
        return f"letters of {self.month:%Y-%m}"


class RunLetter(models.Model):
    """One episode in a month's run: why a letter is owed or not, and what became of it.

    `visits` are days in the period, `last_letter_to` the end of the last letter sent before the
    run, both as they were when the run looked. `pages` and `story` are those of the first draft.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    run = models.ForeignKey(LetterRun, models.PROTECT, related_name="rows")
    episode = models.ForeignKey(Episode, models.PROTECT, related_name="+")
    state = models.CharField(max_length=8, choices=choices_of(RowState))
    reason = models.CharField(max_length=16, choices=choices_of(Reason))
    period_from = models.DateField()
    period_to = models.DateField()
    visits = models.PositiveSmallIntegerField()
    last_letter_to = models.DateField(null=True, blank=True)
    letter = models.OneToOneField(
        "letters.ProgressLetter", models.PROTECT, null=True, blank=True, related_name="run_row"
    )
    story = models.CharField(max_length=15, choices=choices_of(Story), blank=True)
    pages = models.PositiveSmallIntegerField(null=True, blank=True)
    failure = models.CharField(max_length=5, choices=choices_of(Failure), blank=True)
    failure_said = models.CharField(max_length=400, blank=True)
    note = models.CharField("reason", max_length=200, blank=True)
    decided_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+"
    )
    decided_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["episode__client__folded_name", "pk"]
        indexes = [models.Index(fields=["run", "state"], name="run_rows_by_state")]
        constraints = [
            models.UniqueConstraint(fields=["run", "episode"], name="episode_once_a_run"),
            models.CheckConstraint(
                condition=Q(state__in=check_values(RowState))
                & Q(reason__in=check_values(Reason))
                & Q(story__in=["", *check_values(Story)])
                & Q(failure__in=["", *check_values(Failure)]),
                name="run_words_are_known",
            ),
            models.CheckConstraint(
                condition=Q(period_to__gte=F("period_from")), name="run_period_runs_forward"
            ),
            models.CheckConstraint(
                condition=Q(state=RowState.NOT_OWED.value, reason__in=NOT_OWED_VALUES)
                | (~Q(state=RowState.NOT_OWED.value) & Q(reason__in=OWED_VALUES)),
                name="run_owes_for_a_reason",
            ),
            models.CheckConstraint(
                condition=Q(state__in=LETTER_VALUES, letter__isnull=False)
                | (~Q(state__in=LETTER_VALUES) & Q(letter__isnull=True)),
                name="run_letter_where_compiled",
            ),
            models.CheckConstraint(
                condition=Q(state=RowState.FAILED.value, failure__gt="")
                | (~Q(state=RowState.FAILED.value) & Q(failure="")),
                name="run_failure_says_why",
            ),
            models.CheckConstraint(
                condition=~Q(state__in=[RowState.HELD.value, RowState.SKIPPED.value])
                | Q(decided_by__isnull=False, decided_at__isnull=False),
                name="run_decision_has_a_person",
            ),
            models.CheckConstraint(
                condition=~Q(state=RowState.SKIPPED.value) | ~Q(note=""), name="run_skip_has_reason"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.state} in {self.run_id}"
