"""A broken rule about girths, protocols or sessions as the sentence that a person reads."""

from collections.abc import Callable
from datetime import date
from math import ceil, floor
from typing import Any

from clinic.common import file_errors
from clinic.common.errors import RuleBroken
from clinic.common.file_sentences import FILE_SENTENCES
from clinic.common.templatetags.units import CM_PER_INCH, girth
from measurements import errors
from measurements.limb import errors as limb_errors
from measurements.limb.plausibility import Question, QuestionKind
from measurements.limb.units import LengthUnit
from measurements.limb.usual_girths import Range


def day(day: date) -> str:
    """4 Mar 2026, as everywhere on screen and paper."""
    return f"{day.day} {day:%b %Y}"


def _limb_of(error: limb_errors.ReadingError) -> str:
    return f"the {error.side.label} limb" if error.side else "either limb"


def _levels(levels_cm: tuple[float, ...]) -> str:
    return ", ".join(f"{level:g}" for level in levels_cm) + " cm"


def _rejected(error: limb_errors.ReadingsRejected) -> str:
    return " ".join(sentence(problem) for problem in error.problems)


def _bad_protocol(error: limb_errors.BadProtocol) -> str:
    if error.problem in {"offset_cm", "landmarks"}:
        return "A tape position cannot lie below the start landmark. Use 0 or more centimetres."
    return "A protocol needs at least two different tape positions."


def _not_taken_that_day(error: errors.DayImpossible) -> str:
    if error.in_future:
        return "This day is still to come. Choose today or an earlier day."
    return f"The client was born on {day(error.limit)}. Choose a later day."


def _open_stations(error: errors.StationsOpen) -> str:
    sides = dict.fromkeys(side for side, _ in error.stations)
    named = "; ".join(
        f"{side.label}: {_levels(tuple(level for own, level in error.stations if own == side))}"
        for side in sides
    )
    return (
        f"No girth yet at {named}. Type them, or tick that they were left out on purpose: the"
        " limb is then taken as straight between its neighbours."
    )


SENTENCES: dict[type[RuleBroken], Callable[[Any], str]] = FILE_SENTENCES | {
    errors.NumberNotReadable: lambda error: (
        f"“{error.typed[:20]}” is not a number. Type it like 38.4 or 38,4."
    ),
    errors.LengthTooLarge: lambda error: (
        f"{float(error.length_cm):g} cm is more than any limb measures (at most"
        f" {error.limit_cm} cm). Check the decimal point and the unit."
    ),
    errors.DisplacedImpossible: lambda error: (
        f"A hand or foot cannot displace {float(error.displaced_ml):g} mL. Type whole millilitres"
        f" from 1 to {error.limit_ml:,}."
    ),
    errors.ProtocolUsed: lambda error: (
        f"Sessions were taken with “{error.name}”, so it cannot be changed. Supersede it: the new"
        " version is used from now on, and past sessions keep the old one."
    ),
    errors.ProtocolRetired: lambda error: (
        f"“{error.name}” is no longer in use. Choose a protocol that is."
    ),
    errors.ProtocolNameTaken: lambda error: (
        f"Another protocol in use is called “{error.name}”. Choose a different name."
    ),
    errors.DayImpossible: _not_taken_that_day,
    errors.SameDaySession: lambda error: (
        "Nothing of yours is saved yet: this limb was recorded for the same day meanwhile."
        " Compare the two and choose."
    ),
    errors.QuestionsOpen: lambda error: (
        "Not saved yet: unusual girths are marked below. Tape them again, or tick that"
        " they are right."
    ),
    errors.GirthsLeftOver: lambda error: (
        f"{error.count} typed girth{'s' if error.count > 1 else ''} would not be recorded: this"
        " protocol and choice of limbs has no place for them. Switch back to see them, or tick"
        " that they may be left out."
    ),
    errors.StationsOpen: _open_stations,
    errors.EndNotInProtocol: lambda error: (
        "This protocol measures the hand or foot differently. Leave this field empty."
    ),
    errors.WeightImpossible: lambda error: (
        f"A person cannot weigh {float(error.weight_kg):g} kg: between 2 and 400 kg is expected."
        " Check the decimal point and the unit."
    ),
    errors.SessionStruck: lambda error: "This session is struck out already.",
    errors.SessionReplaced: lambda error: (
        "A corrected session already stands in place of this one. Strike that one out first."
    ),
    file_errors.FileEmpty: lambda error: "The file is empty. Choose the CSV file with the girths.",
    errors.FactsDiffer: lambda error: (
        f"Differs from line {error.first_line} of the same session, which says"
        f" “{error.first[:40]}”. Make them alike, or leave this one empty."
    ),
    errors.FactMissing: lambda error: (
        f"No line of this session says it. Expected once: {error.expected}."
    ),
    errors.TimeMissing: lambda error: (
        "Some lines of this day and limb have a time and some have none. Give every one its time,"
        " or none."
    ),
    errors.ProtocolUnknown: lambda error: (
        f"No protocol is called “{error.name[:60]}”. Use a name from the protocols page."
    ),
    errors.ProtocolOfOtherLimb: lambda error: (
        f"“{error.name}” is a protocol for the other kind of limb."
    ),
    errors.AlreadyRecorded: lambda error: (
        f"This limb has a recorded session of {day(error.taken_on)} already. Take these lines out,"
        " or give both sessions different times, or strike the recorded one out first."
    ),
    errors.ImportRefused: lambda error: (
        "Nothing was saved: the file no longer fits what is recorded. The list says where."
    ),
    limb_errors.LengthNotPositive: lambda error: (
        f"{error.value:g} cannot be a length. Type a number above 0."
    ),
    limb_errors.BadProtocol: _bad_protocol,
    limb_errors.ReadingsRejected: _rejected,
    limb_errors.NoReadings: lambda error: (
        f"No girth of {_limb_of(error)} has been typed. Type at least two."
    ),
    limb_errors.GirthNotPositive: lambda error: (
        f"{error.girth_cm:g} cannot be a girth. Type a number above 0, such as 38.4."
    ),
    limb_errors.GirthRepeated: lambda error: (
        f"{error.level_cm:g} cm of {_limb_of(error)} has trial {error.trial} twice. Keep one,"
        " or number them 1, 2, 3."
    ),
    limb_errors.LevelNotInProtocol: lambda error: (
        f"The protocol has no tape position at {error.level_cm:g} cm on {_limb_of(error)}."
        " Use one of its positions, or another protocol."
    ),
    limb_errors.TooManyStations: lambda error: (
        f"{error.count} tape positions on {_limb_of(error)}, and the protocol has"
        f" {error.allowed}. Take the others away, or use a protocol that has them."
    ),
    limb_errors.TooManyTrials: lambda error: (
        f"Trial {error.trial} at {error.level_cm:g} cm: trials are numbered 1 to {error.allowed}."
    ),
    limb_errors.StationMissing: lambda error: (
        f"No girth of {_limb_of(error)} at {_levels(error.levels_cm)}."
    ),
    limb_errors.TooFewStations: lambda error: (
        f"Only {error.count} tape position{'s' if error.count != 1 else ''} on"
        f" {_limb_of(error)}: at least two are needed for a volume."
    ),
    limb_errors.MixedProtocol: lambda error: (
        "The two were counted from different start landmarks"
        f" ({', '.join(error.zero_marks)}), so they cannot be compared."
    ),
    limb_errors.NoSharedSection: lambda error: (
        "The two have no stretch of the limb in common, so they cannot be compared."
    ),
}


def sentence(error: RuleBroken) -> str:
    """The words for a broken rule. KeyError for a rule of another app."""
    return SENTENCES[type(error)](error)


def question_sentence(question: Question, unit: LengthUnit = LengthUnit.CENTIMETRE) -> str:
    """What is unusual about a girth and what was expected, in the unit it is typed in."""
    if question.is_ratio:
        low, high = _marks_within(question.expected, RATIO_STEP)
        return (
            f"{question.value:.2f} times the girth further down: {question.reason} (expected"
            f" {low:.2f} to {high:.2f})."
        )
    if question.kind is QuestionKind.SIDES_EXCHANGED:
        other = girth(question.expected.low, unit)
        return f"{girth(question.value, unit)} is {question.reason} (other side {other})."
    low, high = _marks_within(question.expected, MARKS_CM[unit])
    return (
        f"{girth(question.value, unit)} is {question.reason} (expected {girth(low, unit)} to"
        f" {girth(high, unit)})."
    )


# How far apart the numbers of a sentence can stand, as `girth` writes them.
MARKS_CM = {LengthUnit.CENTIMETRE: 0.1, LengthUnit.INCH: 0.01 * CM_PER_INCH}
RATIO_STEP = 0.01


def _marks_within(expected: Range, step: float) -> tuple[float, float]:
    """The outermost marks inside, so that what is asked about never reads as within them."""
    # Rounded first, for binary noise is no mark.
    low, high = (round(each / step, 6) for each in (expected.low, expected.high))
    return ceil(low) * step, floor(high) * step
