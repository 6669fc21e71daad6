"""Why a letter is owed or not, and what went wrong, as sentences."""

from collections.abc import Callable
from typing import Any

from clinic.common.errors import RuleBroken
from clinic.letters.clauses import day
from clinic.letters.errors import LetterChanged
from clinic.letters.models import RunLetter
from clinic.letters.runs import errors
from clinic.letters.runs.words import Failure, Reason, RowState
from clinic.letters.sentences import sentence as letter_sentence

OUR_FAULT = (
    "A fault of the program, not of the record. Try again; if it fails again, tell the person who"
    " looks after the server the time of this message."
)


def because(row: RunLetter) -> str:
    """Why a letter is owed or not, in one sentence. Needs episode, client and referrers joined."""
    said = BECAUSE[Reason(row.reason)](row)
    return f"{said[0].upper()}{said[1:]}."


def _referrer(row: RunLetter) -> str:
    found = row.episode.referrer or row.episode.client.referrer
    return str(found) if found else "the referrer"


def _visits(row: RunLetter) -> str:
    counted = {0: "no visit", 1: "one visit"}.get(row.visits, f"{row.visits} days with a visit")
    return f"{counted} from {day(row.period_from)} to {day(row.period_to)}"


def _last(row: RunLetter) -> str:
    if row.last_letter_to is None:
        return "no letter so far"
    return f"the last letter reached to {day(row.last_letter_to)}"


def _changed(row: RunLetter) -> str:
    wish = f"{_referrer(row)} wants a letter only when something changes"
    if row.state == RowState.OWED:
        return f"{wish}; that is being looked at"
    is_first = row.last_letter_to is None
    why = "this is the first letter" if is_first else "something has changed"
    return f"{wish}, and {why}; {_visits(row)}"


BECAUSE: dict[Reason, Callable[[RunLetter], str]] = {
    Reason.WANTS_MONTHLY: lambda row: (
        f"{_referrer(row)} wants a letter every month; {_visits(row)}"
    ),
    Reason.WANTS_QUARTERLY: lambda row: (
        f"{_referrer(row)} wants a letter every three months, {_last(row)}; {_visits(row)}"
    ),
    Reason.HAS_CHANGED: _changed,
    Reason.DISCHARGED: lambda row: f"the episode ended in this month; {_last(row)}",
    Reason.NO_REFERRER: lambda row: "neither the episode nor the client names a referrer",
    Reason.CLIENT_DECLINES: lambda row: "the client does not agree to letters to the referrer",
    Reason.REFERRER_GONE: lambda row: (
        f"{_referrer(row)} is no longer active: name whom to write to on the client's page"
    ),
    Reason.WANTS_NONE: lambda row: f"{_referrer(row)} wants no letters",
    Reason.ALREADY_SENT: lambda row: f"{_last(row)}, and this month has no visit after that",
    Reason.DRAFT_OPEN: lambda row: (
        "a draft for this episode is open already; finish or discard it, then look again"
    ),
    Reason.NOT_YET_DUE: lambda row: (
        f"{_referrer(row)} wants a letter every three months, and {_last(row)}"
    ),
    Reason.NO_VISIT: _visits,
    Reason.NOTHING_TAPED: lambda row: (
        "no girths have been taped yet, so there are no numbers to report; of swelling that tape"
        " cannot measure, a progress report tells"
    ),
    Reason.NO_CHANGE: lambda row: (
        f"{_referrer(row)} wants a letter only when something changes, and nothing changed beyond"
        " measurement error"
    ),
}


def failed_because(row: RunLetter) -> str:
    return OUR_FAULT if row.failure == Failure.FAULT else row.failure_said


SENTENCES: dict[type[RuleBroken], Callable[[Any], str]] = {
    errors.MonthNotOver: lambda error: (
        f"{error.month:%B %Y} is not over yet. Choose a month that has ended."
    ),
    errors.RowElsewhere: lambda error: (
        "Somebody decided on this letter in the meantime, or it is being compiled. Nothing was"
        " changed; look at the list of the run."
    ),
    errors.ClientInactive: lambda error: (
        "This client was deactivated, so no letter of the month goes out. Skip it, or reactivate"
        " the client first."
    ),
    errors.NoReason: lambda error: "Say why no letter goes out this month.",
    LetterChanged: lambda error: (
        "Not approved yet: the letter beside this text is not the one you had in front of you."
        " What you typed is kept. Look once more, then approve."
    ),
}


def sentence(error: RuleBroken) -> str:
    say = SENTENCES.get(type(error))
    return say(error) if say else letter_sentence(error)
