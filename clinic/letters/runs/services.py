"""Writes about a month's run: start and repeat it, hold, skip and put back. Never a letter sent."""

from collections.abc import Iterable
from datetime import date
from uuid import UUID

from django.db import transaction
from django.utils import timezone
from procrastinate.contrib.django import app as jobs

from clinic.accounts.models import User
from clinic.audit import services as audit
from clinic.letters import services as letters
from clinic.letters.models import LetterRun, ProgressLetter, RunLetter
from clinic.letters.runs import errors
from clinic.letters.runs.facts import episode_facts
from clinic.letters.runs.owed import Decision, EpisodeFacts, decide, month_end
from clinic.letters.runs.words import RowState

# Named, not imported: the task imports what compiles, and this module only asks for it.
COMPILE_TASK, QUEUE = "letters.compile", "letters"
ROWS_AT_A_TIME = 1000


@transaction.atomic
def start_run(*, month: date, by: User) -> LetterRun:
    """Begin the letters of the month that starts on `month`, or repeat it for what is missing.

    A letter compiled, held, skipped or approved in an earlier round stays as it is. The jobs are
    asked for in the same transaction: no row waits without one. Raises MonthNotOver.
    """
    if month_end(month) >= timezone.localdate():
        raise errors.MonthNotOver(month)
    now = timezone.now()
    run, is_new = LetterRun.objects.select_for_update().get_or_create(
        month=month,
        defaults={"started_by": by, "started_at": now, "considered_by": by, "considered_at": now},
    )
    if not is_new:
        run.considered_by, run.considered_at = by, now
        run.save(update_fields=["considered_by", "considered_at"])
    ask_for(_considered(run))
    audit.record(by, "letter_run.started" if is_new else "letter_run.repeated", subject=run)
    return run


def _considered(run: LetterRun) -> list[UUID]:
    """Decide on every episode that has no letter in this run yet; the rows to be compiled."""
    open_states = [RowState.NOT_OWED, RowState.FAILED, RowState.OWED]
    # In no order: the usual one joins episode and client, whose rows would be locked as well.
    known = {row.episode_id: row for row in run.rows.order_by().select_for_update()}
    new, again = [], []
    for facts in episode_facts(run.month):
        row = known.get(facts.episode_id)
        if row is None:
            new.append(_decided(RunLetter(run=run), facts, run.month))
        elif row.state in open_states:
            again.append(_decided(row, facts, run.month))
    RunLetter.objects.bulk_create(new, batch_size=ROWS_AT_A_TIME)
    RunLetter.objects.bulk_update(again, DECIDED_FIELDS, batch_size=ROWS_AT_A_TIME)
    return [row.pk for row in [*new, *again] if row.state == RowState.OWED]


DECIDED_FIELDS = [
    "state",
    "reason",
    "period_from",
    "period_to",
    "visits",
    "last_letter_to",
    "failure",
    "failure_said",
]


def _decided(row: RunLetter, facts: EpisodeFacts, month: date) -> RunLetter:
    decision: Decision = decide(facts, month)
    row.episode_id = facts.episode_id
    row.state = RowState.OWED if decision.is_owed else RowState.NOT_OWED
    row.reason, row.visits = decision.reason, decision.visits
    row.period_from, row.period_to = decision.period_from, decision.period_to
    row.last_letter_to = facts.last_letter_to
    row.failure = row.failure_said = ""
    return row


def ask_for(row_ids: Iterable[UUID]) -> None:
    """Put one job a row on the queue. Jobs carry row numbers only; a second job finds nothing."""
    wanted = [{"row_id": str(row_id)} for row_id in row_ids]
    if wanted:
        jobs.configure_task(COMPILE_TASK, queue=QUEUE, allow_unknown=False).batch_defer(*wanted)


# One letter of the run


@transaction.atomic
def approve_row(*, row: RunLetter, digest: str, by: User) -> ProgressLetter:
    """Approve the letter that the person looked at.

    Raises RowElsewhere, ClientInactive, and as approve_letter.
    """
    stored = _locked(row, {RowState.COMPILED, RowState.HELD})
    if not stored.episode.client.is_active:
        raise errors.ClientInactive
    return letters.approve_letter(letter=_letter_of(stored), digest=digest, by=by)


@transaction.atomic
def hold_row(*, row: RunLetter, note: str, by: User) -> None:
    """Put a letter aside; the draft stays. Raises RowElsewhere."""
    stored = _locked(row, {RowState.COMPILED, RowState.HELD})
    _decide(stored, RowState.HELD, note, by)
    audit.record(by, "letter.held", client=stored.episode.client, subject=stored.letter)


@transaction.atomic
def skip_row(*, row: RunLetter, note: str, by: User) -> None:
    """No letter for this month: the draft is discarded. Raises NoReason, RowElsewhere."""
    if not note.strip():
        raise errors.NoReason
    stored = _locked(row, {RowState.COMPILED, RowState.HELD, RowState.FAILED})
    if stored.letter is not None:
        letters.discard_letter(letter=stored.letter, by=by, note=note)
        return
    stored.failure = stored.failure_said = ""
    _decide(stored, RowState.SKIPPED, note, by)
    audit.record(by, "letter.skipped", client=stored.episode.client, subject=stored)


@transaction.atomic
def put_back(*, row: RunLetter, by: User) -> None:
    """Take back a hold or a skip; after a skip, or a failure, the letter is compiled afresh.

    Raises RowElsewhere.
    """
    stored = _locked(row, {RowState.HELD, RowState.SKIPPED, RowState.FAILED})
    is_held = stored.state == RowState.HELD
    stored.state = RowState.COMPILED if is_held else RowState.OWED
    stored.note = stored.failure = stored.failure_said = ""
    stored.decided_by = stored.decided_at = None
    stored.save()
    audit.record(by, "letter.put_back", client=stored.episode.client, subject=stored)
    if not is_held:
        ask_for([stored.pk])


@transaction.atomic
def record_review(*, row: RunLetter, by: User) -> None:
    """Note that a letter of the run was opened, or the page that says why there is none."""
    verb = "letter.seen" if row.letter else "run_letter.seen"
    audit.record(by, verb, client=row.episode.client, subject=row.letter or row)


def _decide(row: RunLetter, state: RowState, note: str, by: User) -> None:
    row.state, row.note = state, note.strip()
    row.decided_by, row.decided_at = by, timezone.now()
    row.save()


def _letter_of(row: RunLetter) -> ProgressLetter:
    if row.letter is None:  # the states that were asked for have one, by a constraint
        raise errors.RowElsewhere
    return row.letter


def _locked(row: RunLetter, states: set[RowState]) -> RunLetter:
    """The stored row, held until the transaction ends. Raises RowElsewhere in another state.

    Read after the lock is had, not with it: whoever held it may have approved the letter, which
    leaves the row as it was and would not be seen.
    """
    RunLetter.objects.order_by().select_for_update().get(pk=row.pk)
    rows = RunLetter.objects.select_related("episode__client", "letter").defer("letter__pdf")
    stored = rows.get(pk=row.pk)
    if stored.state not in states or (stored.letter and stored.letter.is_approved):
        raise errors.RowElsewhere
    return stored
