"""A broken rule of plans and goals as the sentence that a person reads."""

from collections.abc import Callable
from typing import Any

from clinic.clients.sentences import day
from clinic.common.errors import RuleBroken
from clinic.common.print import NotPrinted, PrintFault
from clinic.visits import plan_errors as errors

INSTALL = (
    "Plans cannot be printed on this machine: a system library for PDF is missing. Ask the person"
    " who looks after the server to install Pango (on Debian: apt install libpango-1.0-0"
    " libpangoft2-1.0-0) and to start the app again. The plan is kept."
)

DAYS: dict[str, str] = {
    "not_before_episode": "The episode was opened on {limit}. Choose that day or a later one.",
    "after_start": "The period begins on {limit}. Choose a later day.",
    "not_before_start": "The period begins on {limit}. Choose that day or a later one.",
    "not_after_today": "This day is still to come. Choose today or an earlier day.",
    "not_before_signing": (
        "The plan was signed on {limit}, so it cannot have come back earlier. Type the date as it"
        " stands on the returned paper."
    ),
}


def _wrong_day(error: errors.PlanDayWrong) -> str:
    return DAYS[error.must].format(limit=day(error.limit))


def _too_long(error: errors.PeriodTooLong) -> str:
    return (
        f"This period has {error.days} days, and one certification covers {error.most_days} at the"
        f" most, by the clinic's rules for charting. End it on {day(error.last_on)} or earlier; a"
        " plan that goes on is certified anew."
    )


def _absurd(error: errors.ValueAbsurd) -> str:
    unit = f" {error.unit}" if error.unit and error.unit != "°" else error.unit
    return f"This cannot be right: expected is {error.lowest:g} to {error.highest:g}{unit}."


def _not_printed(error: NotPrinted) -> str:
    if error.fault is PrintFault.LIBRARY_MISSING:
        return INSTALL
    return (
        "The plan could not be printed. It is kept as it is. Try once more; if it fails again, tell"
        " the person who looks after the server the time of this message."
    )


PLAN_SENTENCES: dict[type[RuleBroken], Callable[[Any], str]] = {
    NotPrinted: _not_printed,
    errors.TargetIsBaseline: lambda error: (
        "The target is the baseline itself, so there is nothing to reach. Type a different one."
    ),
    errors.ValueAbsurd: _absurd,
    errors.PlanDraftExists: lambda error: (
        "This episode has a draft of the next plan already. Finish or discard that one first."
    ),
    errors.PlanGone: lambda error: (
        "Somebody discarded this draft while you had it open. Copy what you typed and begin a new"
        " plan."
    ),
    errors.PlanChanged: lambda error: (
        "Nothing is saved yet: somebody changed this plan, or the client's details printed on it,"
        " while you had it open. Look at it again, then save or sign once more."
    ),
    errors.PlanKept: lambda error: (
        "This plan is signed and stays exactly as it is. Write the next plan instead: it takes the"
        " place of this one."
    ),
    errors.PlanDayWrong: _wrong_day,
    errors.PeriodTooLong: _too_long,
    errors.TooManyGoals: lambda error: (
        f"A plan holds up to {error.most} goals, so that it fits on one page. Remove some."
    ),
    errors.TargetMissing: lambda error: (
        "A measured goal needs a number to reach. Type the target, or let the therapist judge it."
    ),
    errors.NoGoals: lambda error: (
        "A plan without a goal is not signed. Edit it and set at least one goal."
    ),
    errors.GoalUnfit: lambda error: f"Goal {error.place + 1}: {sentence(error.why)}",
    errors.MayNotSignPlan: lambda error: (
        "Your notes wait for a co-signature, so the plan of care is signed by another clinician."
        " The draft is kept for that."
    ),
    errors.PlanTooLong: lambda error: (
        f"Printed, the plan runs to {error.pages} pages, and one page is signed. Shorten the"
        " treatment or the goals."
    ),
    errors.NotSignedYet: lambda error: (
        "This plan is not signed yet. Sign it first; then it goes to the physician."
    ),
    errors.AlreadyCertified: lambda error: (
        f"The certification was noted before: {error.by}, {day(error.on)}."
    ),
    errors.AlreadyEnded: lambda error: f"The plan was ended before, on {day(error.on)}.",
    errors.ReasonMissing: lambda error: "Say in a few words why the goal is dropped.",
}


def sentence(error: RuleBroken) -> str:
    """The words for a broken rule of plans; KeyError for one of another app."""
    return PLAN_SENTENCES[type(error)](error)
