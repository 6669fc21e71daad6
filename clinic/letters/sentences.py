"""A broken rule as the sentence that a person reads."""

from collections.abc import Callable
from typing import Any

from clinic.common.errors import RuleBroken
from clinic.common.print import NotPrinted, PrintFault
from clinic.letters import errors
from clinic.letters.clauses import day
from clinic.letters.kinds import heading

INSTALL = (
    "The letter cannot be printed on this machine: a system library for PDF is missing. Ask the"
    " person who looks after the server to install Pango (on Debian: apt install libpango-1.0-0"
    " libpangoft2-1.0-0) and to start the app again. The draft is kept."
)


def _too_long(error: errors.LetterTooLong) -> str:
    texts = [lowered(heading(error.kind, name)) for name in error.longest]
    shorten = f" Shorten {' or '.join(texts)}, or take out line breaks." if texts else ""
    most = {1: "one", 2: "two"}[error.kind.most_pages]
    return (
        f"The {error.kind.paper} runs to {error.pages} pages and must fit on {most}.{shorten}"
        " The draft is kept."
    )


def lowered(text: str) -> str:
    return text[0].lower() + text[1:]


def _not_printed(error: NotPrinted) -> str:
    if error.fault is PrintFault.LIBRARY_MISSING:
        return INSTALL
    return (
        "The PDF could not be made, so nothing was approved and nothing was sent. The draft is"
        " kept as it is. Try once more; if it fails again, tell the person who looks after the"
        " server the time of this message."
    )


SENTENCES: dict[type[RuleBroken], Callable[[Any], str]] = {
    errors.NothingTaped: lambda error: (
        f"No girths that count were taped up to {day(error.until_on)}, so there is nothing to"
        " report yet. Record a measuring session first; of swelling that tape cannot measure, write"
        " a progress report instead."
    ),
    errors.NoReferrer: lambda error: (
        "Nobody to write to: neither the episode nor the client names a referrer. Choose one first."
    ),
    errors.ReferrerGone: lambda error: (
        f"{error.name} is no longer active. Name whom to write to on the client's page first."
    ),
    errors.ReferrerChanged: lambda error: (
        f"The record names {error.now} by now, this draft is addressed to {error.in_draft}. Discard"
        " the draft and compile it again; in a month's run skip it and put it back."
    ),
    errors.ClientDeclines: lambda error: (
        "The client does not agree to progress letters going to the referrer, so none is written."
    ),
    errors.PeriodBackwards: lambda error: "The period ends before it begins. Choose a later day.",
    errors.PeriodInFuture: lambda error: (
        "This day is still to come. Choose today or an earlier day."
    ),
    errors.DraftExists: lambda error: (
        f"This episode has a draft of a {error.draft.kind_word.label} already. Finish or discard"
        " that one first."
    ),
    errors.LetterChanged: lambda error: (
        "Nothing was kept: the letter or the record under it changed while you had this page open."
        " Look at it again below, then repeat what you wanted to do."
    ),
    errors.LetterKept: lambda error: (
        "This letter is approved and stays exactly as it was sent. Write a new letter instead."
    ),
    errors.LetterGone: lambda error: (
        "Somebody discarded this draft in the meantime, so nothing was kept or approved."
    ),
    errors.LetterTooLong: _too_long,
    NotPrinted: _not_printed,
    errors.NeedUnsaid: lambda error: (
        "Say why skilled care is still needed, in your own words: the record cannot say it, and"
        " without it the report is not approved."
    ),
    errors.MayNotApprove: lambda error: (
        "Your notes wait for a co-signature, so another clinician approves this paper. The draft"
        " is kept for that."
    ),
}


def sentence(error: RuleBroken) -> str:
    """What to show; an error of another app speaks for itself."""
    say = SENTENCES.get(type(error))
    return say(error) if say else str(error)
