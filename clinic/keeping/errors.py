"""What a person can mend about merging, retention and erasure. Each error carries data only."""

from collections.abc import Sequence
from datetime import date
from typing import Any

from clinic.common.errors import RuleBroken

# RuleBroken
# ├── SameRecord
# ├── BookingsOverlap
# ├── RecordGone
# ├── StillKept
# ├── AskedAlready
# ├── SamePerson
# ├── StillBooked
# └── NotOpen


class SameRecord(RuleBroken):
    """A record cannot be merged into itself."""


class BookingsOverlap(RuleBroken):
    """The two records are booked at the same time; `pairs` are (kept's, other's) appointments."""

    def __init__(self, pairs: Sequence[tuple[Any, Any]]) -> None:
        super().__init__(len(pairs))
        self.pairs = tuple(pairs)


class RecordGone(RuleBroken):
    """The record was merged or erased meanwhile."""


class StillKept(RuleBroken):
    """The period of keeping is not over; on `until` it may go."""

    field = "ground"

    def __init__(self, until: date) -> None:
        super().__init__(until)
        self.until = until


class StillBooked(RuleBroken):
    """The client has an appointment to come."""

    def __init__(self, count: int) -> None:
        super().__init__(count)
        self.count = count


class AskedAlready(RuleBroken):
    """The erasure was asked before and waits."""


class SamePerson(RuleBroken):
    """Who asks for an erasure cannot confirm it."""


class NotOpen(RuleBroken):
    """The erasure was confirmed or withdrawn before."""
