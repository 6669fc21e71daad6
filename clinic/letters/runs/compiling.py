"""Compiles one letter of a run, exactly once, however often it is asked and wherever it is cut."""

import logging
from uuid import UUID

from django.db import InterfaceError, OperationalError, transaction

from clinic.clients.models import Episode
from clinic.clients.selectors import with_story
from clinic.common.errors import RuleBroken
from clinic.common.print import NotPrinted
from clinic.letters import services as letters
from clinic.letters.errors import LetterTooLong
from clinic.letters.models import RunLetter
from clinic.letters.pdf import letter_pdf
from clinic.letters.runs.words import Failure, Reason, RowState
from clinic.letters.sentences import sentence
from clinic.letters.sheet import Sheet
from clinic.letters.story import has_news, story_of

log = logging.getLogger(__name__)

# The database is away or hung up: the job is tried again, the row says nothing of it.
DATABASE_AWAY = (OperationalError, InterfaceError)


def compile_row(*, row_id: UUID) -> None:
    """Compile what a row owes; nothing where it owes nothing any more.

    State and draft are written in one transaction that holds the row: after a power cut either
    both are there or neither, and a second worker finds nothing to do.
    """
    try:
        _compile(row_id)
    except DATABASE_AWAY:
        raise
    except RuleBroken as error:
        _fail(row_id, Failure.RULE, sentence(error))
    except Exception:
        log.exception("A letter of a run could not be compiled")
        _fail(row_id, Failure.FAULT, "")


@transaction.atomic
def _compile(row_id: UUID) -> None:
    row = _owed(row_id)
    if row is None:
        return
    episode = with_story(Episode.objects.select_related("client__referrer", "referrer")).get(
        pk=row.episode_id
    )
    by = row.run.considered_by
    begun = letters.begin_letter(episode, (row.period_from, row.period_to), by=by)
    if row.reason == Reason.HAS_CHANGED and not has_news(begun.summary):
        row.state, row.reason = RowState.NOT_OWED, Reason.NO_CHANGE
    else:
        row.letter = letters.keep_draft(begun=begun, by=by)
        row.state, row.story = RowState.COMPILED, story_of(begun.summary)
        row.pages = pages_taken(letters.begun_sheet(begun))
    row.save()


def pages_taken(sheet: Sheet) -> int | None:
    """The pages it prints on, for the reviewer to know before approval; None if it cannot."""
    try:
        letter_pdf(sheet)
    except LetterTooLong as error:
        return error.pages
    except NotPrinted:
        return None
    return 1


def _fail(row_id: UUID, failure: Failure, said: str) -> None:
    with transaction.atomic():
        if row := _owed(row_id):
            row.state, row.failure, row.failure_said = RowState.FAILED, failure, said[:400]
            row.save()


def _owed(row_id: UUID) -> RunLetter | None:
    """The row, held until the transaction ends; None once it owes nothing or is gone."""
    rows = RunLetter.objects.select_for_update(of=("self",)).select_related("run__considered_by")
    return rows.filter(pk=row_id, state=RowState.OWED).first()
