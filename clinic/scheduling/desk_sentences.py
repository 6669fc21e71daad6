"""A broken rule of the desk's lists as the sentence that a person reads."""

from collections.abc import Callable
from typing import Any

from clinic.common.errors import RuleBroken
from clinic.common.file_sentences import FILE_SENTENCES
from clinic.scheduling import desk_errors as errors
from clinic.scheduling import sentences

SENTENCES: dict[type[RuleBroken], Callable[[Any], str]] = FILE_SENTENCES | {
    errors.SnoozedIntoThePast: lambda error: "Choose a day after today.",
    errors.EntryClosed: lambda error: (
        "Nothing is saved: this client is no longer on the wait list. Look at the list again."
    ),
    errors.NothingFits: lambda error: (
        "Nothing is saved: this time no longer suits. Look at the list again."
    ),
    errors.NoMailServer: lambda error: (
        "No e-mail was sent: the clinic has not set up a mail server. Print the list or download"
        " it instead."
    ),
    errors.ConsentStands: lambda error: "The client has agreed to this already.",
    errors.NobodyFound: lambda error: (
        f"No client is called “{error.said[:60]}”. Write the record number, or register the"
        " client first."
    ),
    errors.NameNotUnique: lambda error: (
        f"{error.count} clients are called “{error.said[:60]}”. Write the record number."
    ),
    errors.TherapistUnknown: lambda error: (
        f"No therapist is called “{error.said[:60]}”. Write the name or the sign-in name as it"
        " stands on the staff page, or choose one for the whole file."
        if error.said
        else "Nobody is named. Write the therapist, or choose one for the whole file."
    ),
    errors.RoomUnknown: lambda error: (
        f"No room is called “{error.said[:60]}”. Write it as on the staff time page, or nothing."
    ),
    errors.KindUnknown: lambda error: (
        f"No kind of appointment is called “{error.said[:60]}”. Write it as on the staff time"
        " page, or choose one for the whole file."
        if error.said
        else "No kind is named. Write it, or choose one for the whole file."
    ),
    errors.NotAnAppointment: lambda error: (
        "This entry has no time of day or no length, so it is no appointment. Take it out."
    ),
    errors.Repeats: lambda error: (
        "This entry repeats. Export each date as an entry of its own, or book it as a series."
    ),
    errors.TimeTaken: lambda error: f"Not possible: {error.said}.",
    errors.AlreadyThere: lambda error: "This appointment is booked already. Take the line out.",
    errors.CalendarUnreadable: lambda error: (
        "This is no calendar file that can be read. Export it again as iCalendar (.ics) or as CSV."
    ),
    errors.ListRefused: lambda error: (
        "Nothing was saved: the file no longer fits what is booked. The lines to mend are below."
    ),
}


def sentence(error: RuleBroken) -> str:
    """The words for a broken rule of this app. KeyError for a rule of another."""
    known = SENTENCES.get(type(error))
    return known(error) if known else sentences.sentence(error)
