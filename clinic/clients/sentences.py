"""A broken rule as the sentence that a person reads beside the field."""

from collections.abc import Callable
from datetime import date
from typing import Any

from clinic.clients import errors
from clinic.common.errors import RuleBroken
from clinic.common.vocabulary import Phase


def day(day: date) -> str:
    """4 Mar 2026, as everywhere on screen and paper."""
    return f"{day.day} {day:%b %Y}"


SENTENCES: dict[type[RuleBroken], Callable[[Any], str]] = {
    errors.RecordNumberTaken: lambda error: (
        f"Another client has record number {error.record_number}. Type a different one, or leave"
        " the field empty to be given the next free number."
    ),
    errors.LooksLikeAnother: lambda error: (
        "Nothing is saved yet: somebody with this date of birth and a similar name is registered."
        " Look at the list first."
    ),
    errors.ChangedMeanwhile: lambda error: (
        "Nothing is saved yet: somebody else saved changes while you had this page open. Compare"
        " the two below, correct the fields if needed, and save once more."
    ),
    errors.NoRegion: lambda error: "Choose at least one region that is swollen or at risk.",
    errors.PhaseUnchanged: lambda error: (
        f"The episode is in the {Phase(error.phase).label} phase already, since"
        f" {day(error.since_on)}. Choose a different phase."
    ),
    errors.FirstPhaseDischarged: lambda error: (
        "An episode cannot begin discharged. Choose surveillance, intensive or maintenance."
    ),
    errors.PrecautionAlreadyOpen: lambda error: (
        f"This precaution already stands since {day(error.found_on)}. Clear that one first if it"
        " has to be recorded anew."
    ),
    errors.PrecautionAlreadyCleared: lambda error: (
        f"This precaution was already cleared on {day(error.cleared_on)}."
    ),
    errors.RecordGone: lambda error: (
        "The record was merged or erased meanwhile. Look for it again."
    ),
    errors.EmergencyReviewed: lambda error: (
        f"{error.reviewer} has reviewed it meanwhile: “{error.review}” Yours was not kept."
    ),
    errors.DayInFuture: lambda error: "This day is still to come. Choose today or an earlier day.",
    errors.BornTooEarly: lambda error: (
        f"A date of birth before {day(error.limit)} cannot be right. Check the year."
    ),
    errors.BeforeBirth: lambda error: (
        f"The client was born on {day(error.limit)}. Choose a later day."
    ),
    errors.PhaseBeforeOpening: lambda error: (
        f"The episode was opened on {day(error.limit)}. Choose that day or a later one."
    ),
    errors.PhaseBeforeLastChange: lambda error: (
        f"The present phase began on {day(error.limit)}. Choose that day or a later one."
    ),
    errors.ClearedBeforeFound: lambda error: (
        f"The precaution was found on {day(error.limit)}. Choose that day or a later one."
    ),
    errors.OpenedAfterFirstPhase: lambda error: (
        f"The first phase began on {day(error.limit)}. Choose that day or an earlier one."
    ),
    errors.AnsweredBeforeAsked: lambda error: (
        f"This was asked on {day(error.limit)}. Choose that day or a later one."
    ),
    errors.AnsweredAlready: lambda error: (
        "Somebody has answered this meanwhile. Open it again to see how."
    ),
}


def sentence(error: RuleBroken) -> str:
    """The words for a broken rule. KeyError for a rule of another app."""
    return SENTENCES[type(error)](error)
