"""What a person can mend about clients, referrers and episodes. Each error carries data only."""

from collections.abc import Sequence
from datetime import date
from typing import Any

from clinic.common.errors import RuleBroken

# RuleBroken
# ├── RecordNumberTaken
# ├── LooksLikeAnother
# ├── ChangedMeanwhile
# ├── NoRegion
# ├── PhaseUnchanged
# ├── FirstPhaseDischarged
# ├── PrecautionAlreadyOpen
# ├── PrecautionAlreadyCleared
# ├── RecordGone
# ├── EmergencyReviewed
# └── ImpossibleDay
#     ├── DayInFuture
#     ├── OpenedAfterFirstPhase
#     └── DayTooEarly
#         ├── BornTooEarly
#         ├── BeforeBirth
#         ├── PhaseBeforeOpening
#         ├── PhaseBeforeLastChange
#         └── ClearedBeforeFound


class RecordNumberTaken(RuleBroken):
    """Another client has this record number."""

    field = "record_number"

    def __init__(self, record_number: str) -> None:
        super().__init__(record_number)
        self.record_number = record_number


class LooksLikeAnother(RuleBroken):
    """The client to be registered may be one who is registered already."""

    def __init__(self, look_alikes: Sequence[Any]) -> None:
        super().__init__(len(look_alikes))
        self.look_alikes = tuple(look_alikes)


class ChangedMeanwhile(RuleBroken):
    """Somebody else saved the same record after this person had opened it."""

    def __init__(self, stored: Any) -> None:
        super().__init__(str(stored.pk))
        self.stored = stored


class NoRegion(RuleBroken):
    """An episode treats or watches at least one region."""


class PhaseUnchanged(RuleBroken):
    """The episode is in this phase already."""

    field = "phase"

    def __init__(self, phase: str, since_on: date) -> None:
        super().__init__(phase, since_on)
        self.phase = phase
        self.since_on = since_on


class FirstPhaseDischarged(RuleBroken):
    """An episode cannot begin with its end."""

    field = "phase"


class PrecautionAlreadyOpen(RuleBroken):
    """The precaution stands already."""

    field = "precaution"

    def __init__(self, found_on: date) -> None:
        super().__init__(found_on)
        self.found_on = found_on


class PrecautionAlreadyCleared(RuleBroken):
    """Somebody cleared the precaution before."""

    def __init__(self, cleared_on: date) -> None:
        super().__init__(cleared_on)
        self.cleared_on = cleared_on


class RecordGone(RuleBroken):
    """The record was merged or erased meanwhile."""


class EmergencyReviewed(RuleBroken):
    """Another lead reviewed the emergency access meanwhile."""

    def __init__(self, reviewer: str, review: str) -> None:
        super().__init__(reviewer, review)
        self.reviewer = reviewer
        self.review = review


class ImpossibleDay(RuleBroken):
    """A day that cannot be; `limit` is the nearest that can."""

    def __init__(self, field: str, limit: date) -> None:
        super().__init__(field, limit)
        self.field = field
        self.limit = limit


class DayInFuture(ImpossibleDay):
    """Later than today."""


class DayTooEarly(ImpossibleDay):
    """Earlier than something it must follow."""


class BornTooEarly(DayTooEarly):
    """Before anybody alive was born."""


class BeforeBirth(DayTooEarly):
    """Before the client was born."""


class PhaseBeforeOpening(DayTooEarly):
    """Before the episode opened."""


class PhaseBeforeLastChange(DayTooEarly):
    """Before the phase that the episode is in began."""


class ClearedBeforeFound(DayTooEarly):
    """Before the precaution was found."""


class OpenedAfterFirstPhase(ImpossibleDay):
    """After the first phase of the episode began."""


class AnsweredBeforeAsked(ImpossibleDay):
    """Answered before the day on which it was asked."""


class AnsweredAlready(RuleBroken):
    """A request about the own record that has its answer."""
