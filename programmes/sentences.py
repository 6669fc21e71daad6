"""A broken rule as the sentence that a person reads."""

from collections.abc import Callable
from typing import Any

from django.utils import timezone

from clinic.clients import sentences as about_clients
from clinic.common.errors import RuleBroken
from clinic.common.print import NotPrinted, PrintFault
from programmes import errors
from programmes.body.errors import NoSafeRoute, SituationUnclear
from programmes.compression_sentences import COMPRESSION_SENTENCES

INSTALL = (
    "Handouts cannot be printed on this machine: a system library for PDF is missing. Ask the"
    " person who looks after the server to install Pango (on Debian: apt install libpango-1.0-0"
    " libpangoft2-1.0-0) and to start the app again. The draft is kept."
)


def _no_route(error: NoSafeRoute) -> str:
    named = ", ".join(precaution.label for precaution in error.precautions)
    return f"{error.why.label}{f' It is: {named}.' if named else ''} No programme is given."


def _changed(error: errors.DraftChanged) -> str:
    at = timezone.localtime(error.at)
    return (
        f"Your last change is not saved yet: {error.by} changed this draft at {at:%H:%M} while you"
        " had it open. Nothing of either is lost: keep yours, or look at theirs."
    )


def _not_printed(error: NotPrinted) -> str:
    if error.fault is PrintFault.LIBRARY_MISSING:
        return INSTALL
    return (
        "The handout could not be made, so nothing was issued. The draft is kept as it is. Try once"
        " more; if it fails again, tell the person who looks after the server the time of this"
        " message."
    )


SENTENCES: dict[type[RuleBroken], Callable[[Any], str]] = {
    NoSafeRoute: _no_route,
    SituationUnclear: lambda error: (
        "The record does not say clearly which side is affected. Edit the episode first."
    ),
    NotPrinted: _not_printed,
    errors.DraftChanged: _changed,
    errors.DraftExists: lambda error: (
        "This episode has a draft already. Finish or discard that one first."
    ),
    errors.ProgrammeKept: lambda error: (
        "This programme was issued and stays exactly as it was given. Begin a new version instead."
    ),
    errors.NothingToUndo: lambda error: "There is nothing to undo.",
    errors.NoSuchStep: lambda error: (
        "That step is no longer there. Look at the list below and repeat what you wanted to do."
    ),
    errors.NoSteps: lambda error: "A programme without a single step cannot be issued.",
    errors.PrecautionBars: lambda error: (
        "No programme may be issued. " + " ".join(error.reasons) + " Clear the precaution on the"
        " client page when it has ended."
    ),
    errors.ReasonMissing: lambda error: (
        "State your reason: the programme breaks the rules shown beside its steps."
        if error.found
        else "Say why the programme is withdrawn."
    ),
    errors.EpisodeClosed: lambda error: (
        "This episode is discharged. Change its phase before you write a programme."
    ),
    errors.HandoutTooLong: lambda error: (
        f"The handout runs to {error.pages} pages, too many to follow. Shorten the notes or texts,"
        " remove steps, or leave the limb to the therapist."
    ),
    errors.DayNotPast: lambda error: "Choose today or an earlier day, within the episode.",
    errors.ExerciseNameTaken: lambda error: (
        "Another exercise on the list has this name. Type a different one."
    ),
    **COMPRESSION_SENTENCES,
}


def sentence(error: RuleBroken) -> str:
    """The words for a broken rule of this app, or of the one below it."""
    say = SENTENCES.get(type(error))
    return say(error) if say else about_clients.sentence(error)
