"""What is wrong with a list, in the words that a person reads."""

from collections.abc import Callable
from typing import Any

from clinic.clients import sentences as of_clients
from clinic.common.errors import RuleBroken
from clinic.common.file_sentences import FILE_SENTENCES
from clinic.exchange import errors
from measurements import sentences as of_girths


def _in_lines(count: int) -> str:
    return f" ({count} lines)" if count > 1 else ""


SENTENCES: dict[type[RuleBroken], Callable[[Any], str]] = FILE_SENTENCES | {
    errors.YearUnclear: lambda error: (
        "Write the day as year-month-day, such as 1961-03-04: other orders can be misread."
    ),
    errors.WordUnknown: lambda error: (
        f"“{error.said[:40]}” is none of these: {', '.join(error.known)}."
    ),
    errors.CellRefused: lambda error: error.said,
    errors.NumberTwice: lambda error: (
        f"Line {error.count} has this record number too. Each client needs one of their own."
    ),
    errors.NobodyFound: lambda error: (
        f"No client has this record number{_in_lines(error.count)}. Import or register the client"
        " first."
    ),
    errors.ReferrerUnknown: lambda error: (
        "No referrer in use goes by this. Expected: family name, comma, given name, or the e-mail"
        " address. Import or add the referrer first, or leave the cell empty."
    ),
    errors.NameNotUnique: lambda error: (
        f"{error.count} referrers go by this name. Write the e-mail address instead."
    ),
    errors.NoEpisode: lambda error: (
        f"This client{_in_lines(error.count)} has no episode of care. Open one first; girths belong"
        " to an episode."
    ),
    errors.DoubtsUnanswered: lambda error: (
        "Nothing is saved yet: some may be registered already. Look at the list, then confirm that"
        " they are other people."
    ),
    errors.ListRefused: lambda error: (
        "Nothing is saved: the list no longer fits what is registered. Look at the report again."
    ),
}


def sentence(error: RuleBroken) -> str:
    """The words for a broken rule of a list, whichever app knows it."""
    for known in (SENTENCES, of_clients.SENTENCES, of_girths.SENTENCES):
        if type(error) in known:
            return known[type(error)](error)
    raise KeyError(type(error))
