"""A broken rule as the sentence that a person reads."""

from collections.abc import Callable
from typing import Any

from clinic.common.errors import RuleBroken
from clinic.letters import errors
from clinic.letters.wording import day

FIELD_NAMES = {
    "bottom_line": "the sentence that matters",
    "treatment": "treatment given",
    "adherence": "home programme and adherence",
    "plan": "plan",
    "request": "what we ask of you",
}

INSTALL = (
    "The letter cannot be printed on this machine: a system library for PDF is missing. Ask the"
    " person who looks after the server to install Pango (on Debian: apt install libpango-1.0-0"
    " libpangoft2-1.0-0) and to start the app again. The draft is kept."
)


def _too_long(error: errors.LetterTooLong) -> str:
    texts = [FIELD_NAMES[name] for name in error.longest]
    shorten = f" Shorten {' or '.join(texts)}, or take out line breaks." if texts else ""
    return (
        f"The letter runs to {error.pages} pages and must fit on one.{shorten} The draft is kept."
    )


def _not_printed(error: errors.LetterNotPrinted) -> str:
    if error.fault is errors.Fault.LIBRARY_MISSING:
        return INSTALL
    return (
        "The PDF could not be made, so nothing was approved and nothing was sent. The draft is"
        " kept as it is. Try once more; if it fails again, tell the person who looks after the"
        " server the time of this message."
    )


SENTENCES: dict[type[RuleBroken], Callable[[Any], str]] = {
    errors.NothingTaped: lambda error: (
        f"No girths that count were taped up to {day(error.until_on)}, so there is nothing to"
        " report yet. Record a measuring session first."
    ),
    errors.NoReferrer: lambda error: (
        "Nobody to write to: neither the episode nor the client names a referrer. Choose one first."
    ),
    errors.ClientDeclines: lambda error: (
        "The client does not agree to progress letters going to the referrer, so none is written."
    ),
    errors.PeriodBackwards: lambda error: "The period ends before it begins. Choose a later day.",
    errors.PeriodInFuture: lambda error: (
        "This day is still to come. Choose today or an earlier day."
    ),
    errors.DraftExists: lambda error: (
        "This episode has a draft already. Finish or discard that one first."
    ),
    errors.LetterChanged: lambda error: (
        "Nothing was kept: the letter or the record under it changed while you had this page open."
        " Look at it again below, then repeat what you wanted to do."
    ),
    errors.LetterKept: lambda error: (
        "This letter is approved and stays exactly as it was sent. Write a new letter instead."
    ),
    errors.LetterTooLong: _too_long,
    errors.LetterNotPrinted: _not_printed,
}


def sentence(error: RuleBroken) -> str:
    """What to show; an error of another app speaks for itself."""
    say = SENTENCES.get(type(error))
    return say(error) if say else str(error)
