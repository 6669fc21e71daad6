"""What can be wrong with girths. Each error carries data; its sentence is made where it is shown.

RuleBroken
└── GirthError
    ├── LengthNotPositive        a length that is zero, negative or not a number
    ├── BadProtocol              a protocol that yields no usable list of levels
    ├── ReadingsRejected         everything wrong with one set of readings, gathered
    ├── ReadingError             one of the things gathered
    │   ├── NoReadings           nothing was taped
    │   ├── GirthNotPositive     a girth that is zero, negative or not a number
    │   ├── GirthRepeated        one level taped twice under the same trial
    │   ├── LevelNotInProtocol   a girth where the protocol has no station
    │   ├── TooManyStations      more stations than the protocol has
    │   ├── TooManyTrials        a trial number outside 1 to 3
    │   ├── StationMissing       stations of the protocol without a girth
    │   └── TooFewStations       fewer than two stations bound no volume
    └── ComparisonError          two limbs or dates that may not be compared
        ├── MixedProtocol        levels counted from different zero marks
        ├── MixedMethod          volumes made by different methods or over different sections
        ├── MixedSides           a limb compared with itself, or a change across sides
        ├── NoSharedSection      the taped stretches do not overlap
        └── SectionNotTaped      a section that reaches beyond the taped stretch
"""

from collections.abc import Sequence
from dataclasses import dataclass

from clinic.common.errors import RuleBroken
from clinic.common.vocabulary import Side


@dataclass(eq=False)
class GirthError(RuleBroken):
    """A rule about girths, volumes or their comparison was broken."""

    def __str__(self) -> str:
        """For logs of developers; people read the sentence made where the error is shown."""
        return repr(self)


@dataclass(eq=False)
class LengthNotPositive(GirthError):
    """A length that must be above 0 and finite is not."""

    name: str
    value: float


@dataclass(eq=False)
class BadProtocol(GirthError):
    """A protocol whose numbers yield no usable list of levels; `problem` names the number."""

    problem: str
    value: float


@dataclass(eq=False)
class ReadingError(GirthError):
    """One thing wrong with a set of readings."""

    side: Side | None


@dataclass(eq=False)
class NoReadings(ReadingError):
    """Nothing was taped on this side (None: on either)."""


@dataclass(eq=False)
class GirthNotPositive(ReadingError):
    """A girth that is zero, negative or not a number."""

    level_cm: float
    girth_cm: float


@dataclass(eq=False)
class GirthRepeated(ReadingError):
    """One level taped twice under the same trial number."""

    level_cm: float
    trial: int


@dataclass(eq=False)
class LevelNotInProtocol(ReadingError):
    """A girth at a level where the protocol has no station."""

    level_cm: float


@dataclass(eq=False)
class TooManyStations(ReadingError):
    """More stations than the protocol has."""

    count: int
    allowed: int


@dataclass(eq=False)
class TooManyTrials(ReadingError):
    """A trial number outside 1 to the number of trials that may be kept."""

    level_cm: float
    trial: int
    allowed: int


@dataclass(eq=False)
class StationMissing(ReadingError):
    """Stations of the protocol without a girth."""

    levels_cm: tuple[float, ...]


@dataclass(eq=False)
class TooFewStations(ReadingError):
    """Fewer than two stations bound no volume."""

    count: int


@dataclass(eq=False)
class ReadingsRejected(GirthError):
    """Everything wrong with one set of readings, so that it can be mended in one go."""

    problems: Sequence[ReadingError]


@dataclass(eq=False)
class ComparisonError(GirthError):
    """Two limbs or two dates that may not be compared."""


@dataclass(eq=False)
class MixedProtocol(ComparisonError):
    """Levels counted from different zero marks are different places on the limb."""

    zero_marks: tuple[str, ...]


@dataclass(eq=False)
class MixedMethod(ComparisonError):
    """Volumes made by different methods, or over different sections, do not compare."""

    methods: tuple[str, ...]
    sections_cm: tuple[tuple[float, float], ...]


@dataclass(eq=False)
class MixedSides(ComparisonError):
    """A limb set against itself, or a change taken across left and right."""

    sides: tuple[Side, ...]


@dataclass(eq=False)
class NoSharedSection(ComparisonError):
    """The taped stretches, each (from, to) in cm, have no length in common."""

    taped_cm: tuple[tuple[float, float], ...]


@dataclass(eq=False)
class SectionNotTaped(ComparisonError):
    """A section, (from, to) in cm, that reaches beyond the taped stretch."""

    section_cm: tuple[float, float]
    taped_cm: tuple[float, float]
