"""A broken rule as the sentence that a person reads beside the field."""

from collections.abc import Callable, Iterable
from datetime import datetime
from typing import Any

from clinic.common.errors import RuleBroken
from clinic.scheduling import errors, recurrence
from clinic.scheduling.ranges import wall
from clinic.scheduling.slots import Conflict
from clinic.scheduling.states import Status


def when(at: datetime) -> str:
    """Mon 2 Mar 2026, 09:00, on the practice's wall clock."""
    local = wall(at)
    return f"{local:%a} {local.day} {local:%b %Y}, {local:%H:%M}"


def told(conflicts: Iterable[Conflict]) -> str:
    """What stands against a time, as one phrase."""
    return " and ".join(conflict.label for conflict in conflicts)


def _opening(text: str) -> str:
    return text[:1].upper() + text[1:]


SENTENCES: dict[type[RuleBroken], Callable[[Any], str]] = {
    errors.SlotTaken: lambda error: (
        f"Nothing is saved: on {when(error.starts_at)} {told(error.conflicts)}. Choose another"
        " time."
    ),
    errors.NeedsOverruling: lambda error: (
        f"{_opening(told(error.conflicts))}. Tick this to book all the same."
    ),
    errors.StartsInThePast: lambda error: "This day has passed. Choose today or a later day.",
    errors.StatusNotNext: lambda error: (
        f"The appointment is {Status(error.present).label} by now, so it cannot become"
        f" {Status(error.wanted).label}."
    ),
    errors.StillAhead: lambda error: (
        f"This appointment is on {when(error.starts_at)}. Say on the day whether the client came."
    ),
    errors.NotMovable: lambda error: (
        f"The appointment is {Status(error.present).label} and keeps its time. Book a new one."
    ),
    errors.ChangedMeanwhile: lambda error: (
        "Nothing is saved: somebody else changed this appointment while you had it open. It is now"
        f" on {when(error.stored.period.lower)}. Look at it again."
    ),
    errors.SeriesBlocked: lambda error: (
        "Nothing is saved: "
        + "; ".join(f"{when(one.span.starts_at)}, {told(one.conflicts)}" for one in error.blocked)
        + ". Choose another time for these or leave them out."
    ),
    errors.NothingLeftToChange: lambda error: "There is no date left that could be changed.",
    errors.HoursOverlap: lambda error: (
        "Two stretches of this weekday overlap. Correct one of them."
    ),
    errors.EndsBeforeStart: lambda error: "The end must come after the beginning.",
    recurrence.RuleUnreadable: lambda error: "This is no recurrence rule.",
    recurrence.EndlessRule: lambda error: "Say when the series ends.",
    recurrence.TooManyDates: lambda error: (
        f"A series has at most {error.most} dates. Book fewer weeks at once."
    ),
    recurrence.NoDates: lambda error: "Choose at least one weekday for each number of weeks.",
}


def sentence(error: RuleBroken) -> str:
    """The words for a broken rule. KeyError for a rule of another app."""
    return SENTENCES[type(error)](error)
