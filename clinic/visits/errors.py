"""What a person can mend about visit notes. Each error carries data only."""

from dataclasses import dataclass
from datetime import date
from typing import Any

from clinic.common.errors import RuleBroken
from clinic.common.vocabulary import Word
from clinic.visits.typed import NoteTyped

# RuleBroken
# ├── NoteChangedMeanwhile       somebody saved first; the text is set aside, nothing is lost
# ├── NoteKept                   the note is signed: an addendum can be added
# ├── NoteGone                   the draft was discarded meanwhile; carries what was typed
# ├── NoteNotSigned              a draft takes no co-signature and no addendum
# ├── CannotSign                 with every part that is missing
# ├── NoCosignatureWanted        the note waits for none
# ├── CosignerUnsuited           the signer herself, or somebody who needs one too
# ├── RedFlagNotThere            a flag that the visit does not raise
# ├── TextMissing                an addendum or an action without words
# ├── NothingToCopy              no earlier note of the episode
# ├── VisitDayWrong              a day to come, or before the episode was opened
# ├── EpisodeClosed              the episode was discharged before that day
# ├── AppointmentUnsuited        another client's, or one that was cancelled
# ├── VisitMinutesOutOfRange     a visit of fewer than 1 or more than 480 minutes
# ├── TreatmentMinutesOutOfRange the same of one treatment
# ├── ServiceNotInUse            a service that the clinic did not provide that day
# └── ServiceCodeTaken, PhraseNameTaken   the clinic's lists
# Those of minutes stand in visits.timing_errors, those of phrases in visits.phrases.


class Lack(Word):
    """What keeps a note from being signed. The value is the page's anchor for it."""

    PRECAUTIONS = "precautions", "precautions asked at this visit"
    BARRED = "barred", "treatment while an absolute precaution stands"
    SUBJECTIVE = "subjective", "subjective"
    PLAN = "plan", "plan"
    TREATMENT = "treatment", "treatment"
    VISIT_MIN = "visit_min", "minutes of the visit"
    PAST_VISIT = "past_visit", "minutes within the length of the visit"
    RED_FLAG = "red_flag", "red flags acknowledged"
    SET_ASIDE = "set_aside", "a choice between two versions of your text"


@dataclass(frozen=True, slots=True)
class MissingPart:
    """One part that is missing; `because` are what it rests on: reasons, flags, sentences."""

    lack: Lack
    because: tuple[str, ...] = ()


class NoteChangedMeanwhile(RuleBroken):
    """Somebody saved the note first. `typed` is kept beside it until somebody chooses.

    It is None where nothing was typed: at signing.
    """

    def __init__(self, *, note: Any, typed: NoteTyped | None = None) -> None:
        super().__init__(str(note.pk))
        self.note = note
        self.typed = typed


class NoteKept(RuleBroken):
    """A signed note is never changed. `was_set_aside`: what was typed is kept beside it."""

    def __init__(self, note: Any, *, was_set_aside: bool = False) -> None:
        super().__init__(str(note.pk))
        self.note = note
        self.was_set_aside = was_set_aside


class NoteGone(RuleBroken):
    """The draft was discarded meanwhile; the text is still with the person who typed it."""

    def __init__(self, typed: NoteTyped | None = None) -> None:
        super().__init__()
        self.typed = typed


class NoteNotSigned(RuleBroken):
    """Only a signed note takes a co-signature or an addendum."""


class CannotSign(RuleBroken):
    """Parts are missing; every one of them is told at once."""

    def __init__(self, missing: tuple[MissingPart, ...]) -> None:
        super().__init__(*(part.lack.value for part in missing))
        self.missing = missing


class NoCosignatureWanted(RuleBroken):
    """The note waits for no co-signature, or has it already."""


class CosignerUnsuited(RuleBroken):
    """A note is co-signed by another clinician who needs no co-signature herself."""

    def __init__(self, *, is_signer: bool) -> None:
        super().__init__(is_signer)
        self.is_signer = is_signer


class RedFlagNotThere(RuleBroken):
    """The visit does not raise this flag, or it was acknowledged before."""


class TextMissing(RuleBroken):
    """Words are asked for; `field` is "text" of an addendum or "action" of a red flag."""

    def __init__(self, field: str) -> None:
        super().__init__(field)
        self.field = field


class NothingToCopy(RuleBroken):
    """The episode has no earlier note with words in these sections."""


class VisitDayWrong(RuleBroken):
    """A visit to come, or one before the episode was opened."""

    field = "visited_on"

    def __init__(self, *, opened_on: date, is_future: bool) -> None:
        super().__init__(opened_on, is_future)
        self.opened_on = opened_on
        self.is_future = is_future


class EpisodeClosed(RuleBroken):
    """The episode was discharged before the day of the visit."""

    field = "visited_on"

    def __init__(self, discharged_on: date) -> None:
        super().__init__(discharged_on)
        self.discharged_on = discharged_on


class AppointmentUnsuited(RuleBroken):
    """An appointment of another client or day, or one that was cancelled or missed."""

    def __init__(self, *, is_freed: bool) -> None:
        super().__init__(is_freed)
        self.is_freed = is_freed


class VisitMinutesOutOfRange(RuleBroken):
    """A length that no visit has."""

    field = "visit_min"

    def __init__(self, minutes: int, most: int) -> None:
        super().__init__(minutes, most)
        self.minutes = minutes
        self.most = most


class TreatmentMinutesOutOfRange(RuleBroken):
    """Minutes that no treatment takes. `place` counts the rows from 0."""

    field = "minutes"

    def __init__(self, *, place: int, minutes: int, most: int) -> None:
        super().__init__(place, minutes, most)
        self.place = place
        self.minutes = minutes
        self.most = most


class ServiceNotInUse(RuleBroken):
    """A service that the clinic did not provide on the day of the visit."""

    field = "service"

    def __init__(self, service_id: int, on: date) -> None:
        super().__init__(service_id, on)
        self.service_id = service_id
        self.on = on


class ServiceCodeTaken(RuleBroken):
    """Another service in use has this code."""

    field = "code"


class PhraseNameTaken(RuleBroken):
    """This part of the note has a phrase of this name already."""

    field = "name"
