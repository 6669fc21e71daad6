"""What can be wrong with an outcome score. Each error carries data; the sentence is made elsewhere.

RuleBroken
└── ScoreError
    ├── ScoreOutOfRange      below or above what the instrument can give
    ├── ScoreTooFine         more decimals than the instrument gives
    ├── AnswerNotReadable    a sign among the answers that is neither an answer nor a gap
    ├── AnswerImpossible     an answer that the questionnaire does not offer
    ├── AnswersMiscounted    more or fewer answers than the questionnaire has items
    ├── TooManyMissing       too many items without an answer for a score
    ├── RatingsIncomplete    some of three pain ratings, but not all
    ├── ActivitiesMiscounted fewer or more activities than the instrument takes
    ├── TrialsIncomplete     fewer trials of one side than a mean is made of
    ├── PlaceUnknown         a side or part that the instrument does not have
    ├── NothingScored        no number was typed
    ├── ScoredOnImpossible   scored in the future, or before the client was born
    └── ScoreStruck          the score is struck out already
"""

from dataclasses import dataclass
from datetime import date

from clinic.common.errors import RuleBroken
from clinic.common.vocabulary import Side


@dataclass(eq=False)
class ScoreError(RuleBroken):
    """A rule about outcome scores was broken."""

    def __str__(self) -> str:
        """For logs of developers; people read the sentence made where the error is shown."""
        return repr(self)


@dataclass(eq=False)
class ScoreOutOfRange(ScoreError):
    """A score outside `lowest` to `highest`, all in `unit` (empty: points)."""

    score: float
    lowest: float
    highest: float
    unit: str


@dataclass(eq=False)
class ScoreTooFine(ScoreError):
    """A score with more than `decimals` decimals."""

    score: float
    decimals: int


@dataclass(eq=False)
class AnswerNotReadable(ScoreError):
    """`sign` is neither a digit nor a mark for a missing answer."""

    sign: str


@dataclass(eq=False)
class AnswerImpossible(ScoreError):
    """Item `number`, counted from 1, has an answer outside `lowest` to `highest`."""

    number: int
    answer: int
    lowest: int
    highest: int


@dataclass(eq=False)
class AnswersMiscounted(ScoreError):
    """`count` answers where the questionnaire has `expected` items."""

    count: int
    expected: int


@dataclass(eq=False)
class TooManyMissing(ScoreError):
    """Only `answered` of `items` have an answer, and `needed` must."""

    answered: int
    needed: int
    items: int


@dataclass(eq=False)
class RatingsIncomplete(ScoreError):
    """`count` of three pain ratings: one (now) or all three make a score."""

    count: int


@dataclass(eq=False)
class ActivitiesMiscounted(ScoreError):
    """`count` scored activities where `fewest` to `most` make a score."""

    count: int
    fewest: int
    most: int


@dataclass(eq=False)
class TrialsIncomplete(ScoreError):
    """`count` trials of `side`, where the mean is made of `expected`."""

    side: Side
    count: int
    expected: int


@dataclass(eq=False)
class PlaceUnknown(ScoreError):
    """The instrument is not scored there: a side or part too many, missing, or of another one."""

    instrument: str


@dataclass(eq=False)
class NothingScored(ScoreError):
    """No number was typed."""


@dataclass(eq=False)
class ScoredOnImpossible(ScoreError):
    """`limit` is the nearest day that can be."""

    scored_on: date
    limit: date
    field = "scored_on"

    @property
    def in_future(self) -> bool:
        return self.scored_on > self.limit


@dataclass(eq=False)
class ScoreStruck(ScoreError):
    """The score is struck out already."""

    score_id: str
