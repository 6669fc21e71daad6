"""A broken rule about outcome scores as the sentence that a person reads."""

from collections.abc import Callable
from typing import Any

from clinic.common.errors import RuleBroken
from measurements import sentences
from measurements.limb import score_errors


def plain(value: float) -> str:
    """2000.0 -> 2,000; 0.3 -> 0.3; a real minus sign."""
    return f"{value:,.10g}".replace("-", "\N{MINUS SIGN}")


def with_unit(text: str, unit: str) -> str:
    """ "24.3 kg", "120°", "3.5"."""
    return f"{text}\N{NO-BREAK SPACE}{unit}" if unit not in {"", "°"} else text + unit


def _out_of_range(error: score_errors.ScoreOutOfRange) -> str:
    low, high = plain(error.lowest), with_unit(plain(error.highest), error.unit)
    return f"{plain(error.score)} cannot be: between {low} and {high} is expected."


def _too_fine(error: score_errors.ScoreTooFine) -> str:
    if error.decimals == 0:
        return f"{plain(error.score)} is finer than this instrument: type a whole number."
    many = "one decimal" if error.decimals == 1 else f"{error.decimals} decimals"
    return f"{plain(error.score)} is finer than this instrument: at most {many}."


def _miscounted(error: score_errors.AnswersMiscounted) -> str:
    return (
        f"{error.count} answer{'s' if error.count != 1 else ''} typed, and there are"
        f" {error.expected} items. Type one digit for each item, and - where there is no answer."
    )


SENTENCES: dict[type[RuleBroken], Callable[[Any], str]] = {
    score_errors.ScoreOutOfRange: _out_of_range,
    score_errors.ScoreTooFine: _too_fine,
    score_errors.AnswerNotReadable: lambda error: (
        f"“{error.sign}” is no answer. Type one digit for each item, and - where there is none."
    ),
    score_errors.AnswerImpossible: lambda error: (
        f"Item {error.number} says {error.answer}: answers go from {error.lowest} to"
        f" {error.highest}."
    ),
    score_errors.AnswersMiscounted: _miscounted,
    score_errors.TooManyMissing: lambda error: (
        f"Only {error.answered} of {error.items} items have an answer: without at least"
        f" {error.needed} there is no score. Ask for the missing ones."
    ),
    score_errors.RatingsIncomplete: lambda error: (
        "Type pain now alone, or all three: now, usual and worst."
    ),
    score_errors.ActivitiesMiscounted: lambda error: (
        f"{error.count} scored activit{'y' if error.count == 1 else 'ies'}: {error.fewest} to"
        f" {error.most} make a score."
    ),
    score_errors.TrialsIncomplete: lambda error: (
        f"{error.count} of {error.expected} trials of the {error.side.label} hand: all"
        f" {error.expected} are needed for the mean."
    ),
    score_errors.PlaceUnknown: lambda error: (
        "This instrument is not scored there. Choose it again from the list."
    ),
    score_errors.NothingScored: lambda error: "Nothing is typed yet. Type at least one number.",
    score_errors.ScoreStruck: lambda error: "This score is struck out already.",
    score_errors.ScoredOnImpossible: lambda error: (
        "This day is still to come. Choose today or an earlier day."
        if error.in_future
        else f"The client was born on {sentences.day(error.limit)}. Choose a later day."
    ),
}


def sentence(error: RuleBroken) -> str:
    """The words for a broken rule about scores, or about numbers typed. KeyError for others."""
    words = SENTENCES.get(type(error))
    return words(error) if words else sentences.sentence(error)
