"""The letters of last month: compiled, and reviewed in part."""

from datetime import time

from dateutil.relativedelta import relativedelta
from django.utils import timezone

from clinic.demo import letters
from clinic.demo.clock import clock_at, moment_of, nth_working_day
from clinic.demo.scenario import demo_id
from clinic.demo.stage import Stage
from clinic.letters.errors import LetterTooLong
from clinic.letters.models import LetterRun, RunLetter
from clinic.letters.runs.compiling import compile_row
from clinic.letters.runs.services import approve_row, hold_row, skip_row, start_run
from clinic.letters.runs.words import RowState
from clinic.letters.services import final_sheet
from clinic.letters.story_words import Story

# So many are approved, the next is skipped; the letter of this story is held, and stays due.
APPROVED = 3
HELD_STORY = "letter_due"
# Nobody has read these yet: the page opens with them.
LEFT_TO_READ = (
    Story.EARLY_DETECTION,
    Story.WORSENING,
    Story.INTERRUPTION,
    Story.DISCHARGE,
    Story.PLATEAU,
)
HELD_FOR = "Ask the surgeon about the drain first."
SKIPPED_FOR = "Told by phone this week."


def run_last_month(stage: Stage) -> None:
    """The lead compiled on the first working day of this month; the therapists began to read.

    A machine that cannot print has no run: its letters could not be approved.
    """
    if not letters.can_print():
        return
    month = stage.today.replace(day=1) - relativedelta(months=1)
    compiled_on = nth_working_day(stage.today.replace(day=1), 0)
    with clock_at(min(moment_of(compiled_on, time(8, 30)), timezone.now())):
        run = start_run(month=month, by=stage.cast.lead)
        for row in run.rows.filter(state=RowState.OWED):
            compile_row(row_id=row.pk)
        _review(run)


def _review(run: LetterRun) -> None:
    rows = RunLetter.objects.filter(run=run, state=RowState.COMPILED)
    held = demo_id("episode", HELD_STORY)
    joined = rows.select_related("episode__therapist", "letter").order_by(
        "story", "episode__client__folded_name", "pk"
    )
    for row in joined.filter(episode=held):
        hold_row(row=row, note=HELD_FOR, by=row.episode.therapist)
    others = list(joined.exclude(episode=held).exclude(story__in=LEFT_TO_READ))
    for row in others[:APPROVED]:
        _approve(row)
    for row in others[APPROVED : APPROVED + 1]:
        skip_row(row=row, note=SKIPPED_FOR, by=row.episode.therapist)


def _approve(row: RunLetter) -> None:
    by = row.episode.therapist
    if row.letter is None:
        return
    try:
        approve_row(row=row, digest=final_sheet(row.letter, by).digest, by=by)
    except LetterTooLong:
        hold_row(row=row, note="Too long, to be shortened.", by=by)
