"""A broken rule about a visit note as the sentence that a person reads."""

from collections.abc import Callable
from typing import Any

from django.utils import timezone

from clinic.common.errors import RuleBroken
from clinic.visits import errors, timing_errors
from clinic.visits.errors import Lack, MissingPart


def _changed(error: errors.NoteChangedMeanwhile) -> str:
    at = timezone.localtime(error.note.edited_at)
    return (
        f"{error.note.edited_by} saved this note at {at:%H:%M} while you had it open. Nothing of"
        " either is lost: both versions stand side by side."
    )


def _kept(error: errors.NoteKept) -> str:
    told = "This note is signed and cannot be changed. Add an addendum instead."
    return f"{told} What you typed is kept beside it." if error.was_set_aside else told


def _day(error: errors.VisitDayWrong) -> str:
    if error.is_future:
        return "This day is still to come. A visit is charted on its day or later."
    return f"The episode was opened on {error.opened_on:%-d %b %Y}. A visit cannot be earlier."


def _appointment(error: errors.AppointmentUnsuited) -> str:
    if error.is_freed:
        return "This appointment was cancelled or missed, so there is no visit to chart."
    return "This appointment is another client's or on another day."


def _cosigner(error: errors.CosignerUnsuited) -> str:
    if error.is_signer:
        return "You signed this note yourself. A colleague co-signs it."
    return "Your own notes need a co-signature, so you cannot give one."


def _visit_min(error: errors.VisitMinutesOutOfRange) -> str:
    return f"{error.minutes} minutes is no length of a visit: from 1 to {error.most}."


def _row_minutes(error: errors.TreatmentMinutesOutOfRange) -> str:
    return (
        f"Line {error.place + 1}: {error.minutes} minutes is no length of a treatment: from 1 to"
        f" {error.most}."
    )


SENTENCES: dict[type[RuleBroken], str | Callable[[Any], str]] = {
    errors.NoteChangedMeanwhile: _changed,
    errors.NoteKept: _kept,
    errors.NoteGone: "This draft was discarded meanwhile. What you typed is still on your screen.",
    errors.NoteNotSigned: "This note is not signed yet.",
    errors.CannotSign: "This note cannot be signed yet: what is missing is listed.",
    errors.NoCosignatureWanted: "This note waits for no co-signature.",
    errors.CosignerUnsuited: _cosigner,
    errors.RedFlagNotThere: "This red flag no longer stands, or somebody has acknowledged it.",
    errors.TextMissing: "Write something first.",
    errors.NothingToCopy: "There is no earlier note with words to copy from.",
    errors.VisitDayWrong: _day,
    errors.EpisodeClosed: lambda error: (
        f"The episode was discharged on {error.args[0]:%-d %b %Y}. Open a new episode first."
    ),
    errors.AppointmentUnsuited: _appointment,
    errors.VisitMinutesOutOfRange: _visit_min,
    errors.TreatmentMinutesOutOfRange: _row_minutes,
    errors.ServiceNotInUse: (
        "One of the services is not in use on the day of this visit. Choose another."
    ),
    timing_errors.MinutesTooFew: "Minutes start at 1.",
    timing_errors.MinutesTooMany: "These minutes are more than a day has.",
    timing_errors.TimedAndUntimed: "One code is entered both as timed and as untimed.",
}


def sentence(error: RuleBroken) -> str:
    """The sentence for one broken rule; a rule without one is our fault and raises KeyError."""
    said = SENTENCES[type(error)]
    return said(error) if callable(said) else said


# What to do about each lack, and the element of the page that mends it.
TO_DO = {
    Lack.PRECAUTIONS: ("Ask the precautions", "precautions"),
    Lack.BARRED: ("Take the treatment out: it is barred today", "treatment"),
    Lack.SUBJECTIVE: ("Write what the client says", "subjective"),
    Lack.PLAN: ("Write the plan", "plan"),
    Lack.TREATMENT: ("Enter the treatment given", "treatment"),
    Lack.VISIT_MIN: ("Type the minutes of the visit", "visit_min"),
    Lack.PAST_VISIT: ("Mend the minutes: treatment is longer than the visit", "visit_min"),
    Lack.RED_FLAG: ("Acknowledge each red flag with what was done", "red_flag"),
    Lack.SET_ASIDE: ("Choose between the two versions of your text", "set_aside"),
}


def to_do(part: MissingPart) -> tuple[str, str]:
    """What the person can do about a lack, and the id to go to."""
    words, anchor = TO_DO[part.lack]
    return (f"{words}: {'; '.join(part.because)}" if part.because else words), anchor
