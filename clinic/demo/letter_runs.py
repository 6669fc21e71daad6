"""The letters of last month: compiled, and reviewed in part."""

from datetime import time

from dateutil.relativedelta import relativedelta
from django.utils import timezone

from clinic.common.print import can_print
from clinic.demo.clock import clock_at, moment_of, nth_working_day
from clinic.demo.stage import Stage
from clinic.letters.errors import LetterTooLong
from clinic.letters.models import LetterRun, RunLetter
from clinic.letters.runs.compiling import compile_row
from clinic.letters.runs.services import approve_row, hold_row, skip_row, start_run
from clinic.letters.runs.words import RowState
from clinic.letters.services import final_sheet

# Of the letters in the order of the review: this many approved, then one held, one skipped.
APPROVED = 3
HELD_FOR = "Ask the surgeon about the drain first."
SKIPPED_FOR = "Told by phone this week."


def run_last_month(stage: Stage) -> None:
    """The lead compiled on the first working day of this month; the therapists began to read."""
    month = stage.today.replace(day=1) - relativedelta(months=1)
    compiled_on = nth_working_day(stage.today.replace(day=1), 0)
    with clock_at(min(moment_of(compiled_on, time(8, 30)), timezone.now())):
        run = start_run(month=month, by=stage.cast.lead)
        for row in run.rows.filter(state=RowState.OWED):
            compile_row(row_id=row.pk)
        _review(_to_review(run))


def _to_review(run: LetterRun) -> list[RunLetter]:
    rows = RunLetter.objects.filter(run=run, state=RowState.COMPILED)
    return list(rows.select_related("episode__therapist", "letter").order_by("story", "pk"))


def _review(rows: list[RunLetter]) -> None:
    for row in rows[:APPROVED]:
        _approve(row)
    for row in rows[APPROVED : APPROVED + 1]:
        hold_row(row=row, note=HELD_FOR, by=row.episode.therapist)
    for row in rows[APPROVED + 1 : APPROVED + 2]:
        skip_row(row=row, note=SKIPPED_FOR, by=row.episode.therapist)


def _approve(row: RunLetter) -> None:
    """A machine that cannot print has no approved letters."""
    if row.letter is None or not can_print():
        return
    by = row.episode.therapist
    try:
        approve_row(row=row, digest=final_sheet(row.letter, by).digest, by=by)
    except LetterTooLong:
        hold_row(row=row, note="Too long, to be shortened.", by=by)
