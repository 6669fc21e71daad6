"""What a person can mend about protocols, sessions and imports. Each error carries data only.

RuleBroken
├── NumberNotReadable        text that is no number
├── LengthTooLarge           a length no limb has
├── DisplacedImpossible      a displaced volume no hand or foot has
├── ProtocolError
│   ├── ProtocolUsed         a used protocol was to be changed
│   ├── ProtocolRetired      a retired protocol was to be used, changed or retired again
│   └── ProtocolNameTaken    another protocol in use has this name
├── SessionError
│   ├── DayImpossible        taken in the future, or before the client was born
│   ├── SameDaySession       the same limb was recorded that day by somebody else
│   ├── QuestionsOpen        unusual girths that nobody has confirmed
│   ├── GirthsLeftOver       girths typed at positions that this session does not take
│   ├── StationsOpen         stations without a girth that nobody has confirmed
│   ├── EndNotInProtocol     a hand or foot measured in another way than the protocol says
│   ├── WeightImpossible     a weight no person has
│   ├── SessionStruck        the session is struck out already
│   └── SessionReplaced      another session replaces the struck one already
└── FileError                those of any file are in `clinic.common.file_errors`
    ├── FactsDiffer, FactMissing, TimeMissing                               a session's lines
    ├── ProtocolUnknown, ProtocolOfOtherLimb, AlreadyRecorded               a session
    └── ImportRefused        the file has problems, so nothing was saved
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from clinic.common.errors import RuleBroken
from clinic.common.file_errors import FileError
from clinic.common.vocabulary import Side


@dataclass(eq=False)
class NumberNotReadable(RuleBroken):
    """Text that is no plain number."""

    typed: str


@dataclass(eq=False)
class LengthTooLarge(RuleBroken):
    """A length in cm that no limb has."""

    length_cm: Decimal
    limit_cm: Decimal


@dataclass(eq=False)
class DisplacedImpossible(RuleBroken):
    """A displaced volume in mL that no hand or foot has."""

    displaced_ml: Decimal
    limit_ml: Decimal


class ProtocolError(RuleBroken):
    """A rule about protocols."""


@dataclass(eq=False)
class ProtocolUsed(ProtocolError):
    """The protocol has sessions, so it can only be superseded."""

    name: str


@dataclass(eq=False)
class ProtocolRetired(ProtocolError):
    """The protocol is no longer in use."""

    name: str
    field = "protocol"


@dataclass(eq=False)
class ProtocolNameTaken(ProtocolError):
    """Another protocol in use has this name."""

    name: str
    field = "name"


class SessionError(RuleBroken):
    """A rule about measuring sessions."""


@dataclass(eq=False)
class DayImpossible(SessionError):
    """`limit` is the nearest day that can be."""

    taken_on: date
    limit: date
    field = "taken_on"

    @property
    def in_future(self) -> bool:
        return self.taken_on > self.limit


@dataclass(eq=False)
class SameDaySession(SessionError):
    """The limb has sessions of that day which this person has not been shown."""

    sessions: Sequence[Any]


@dataclass(eq=False)
class QuestionsOpen(SessionError):
    """Unusual girths, each a `plausibility.Question`, that nobody has confirmed."""

    questions: Sequence[Any]


@dataclass(eq=False)
class GirthsLeftOver(SessionError):
    """How many typed girths lie where this session takes none."""

    count: int


@dataclass(eq=False)
class StationsOpen(SessionError):
    """(side, level in cm) of stations without a girth."""

    stations: Sequence[tuple[Side, float]]


@dataclass(eq=False)
class EndNotInProtocol(SessionError):
    """The hand or foot was measured in a way that the protocol does not."""

    side: Side


@dataclass(eq=False)
class WeightImpossible(SessionError):
    """A weight in kg outside what a person can weigh."""

    weight_kg: Decimal
    field = "weight"


@dataclass(eq=False)
class SessionStruck(SessionError):
    """The session is struck out already."""

    session: Any


@dataclass(eq=False)
class SessionReplaced(SessionError):
    """Another session replaces the struck one already."""

    session: Any


@dataclass(eq=False)
class FactsDiffer(FileError):
    """Two lines of one session say different things; `first` and the line it stands in."""

    first: str
    first_line: int


@dataclass(eq=False)
class FactMissing(FileError):
    """No line of a session says what it must."""

    expected: str


class TimeMissing(FileError):
    """Some lines of a day have a time and some have none."""


@dataclass(eq=False)
class ProtocolUnknown(FileError):
    """No protocol has this name."""

    name: str


@dataclass(eq=False)
class ProtocolOfOtherLimb(FileError):
    """The protocol is for the other kind of limb."""

    name: str


@dataclass(eq=False)
class AlreadyRecorded(FileError):
    """The limb has a session of that day, and perhaps that time, already."""

    taken_on: date


@dataclass(eq=False)
class ImportRefused(FileError):
    """The file has problems, gathered in the report; nothing was saved."""

    report: Any
