"""What a person can mend about merging, retention and erasure. Each error carries data only."""

from collections.abc import Sequence
from datetime import date
from typing import Any

from clinic.common.errors import RuleBroken

# RuleBroken
# ├── SameRecord
# ├── BookingsOverlap
# ├── StillKept
# ├── AskedAlready
# ├── SamePerson
# ├── StillBooked
# ├── StillAsked
# ├── StillHeld
# ├── HeldAlready
# └── NotOpen


class SameRecord(RuleBroken):
    """A record cannot be merged into itself."""


class BookingsOverlap(RuleBroken):
    """The two records are booked at the same time (`selectors.merging.Overlap`)."""

    def __init__(self, overlaps: Sequence[Any]) -> None:
        super().__init__(len(overlaps))
        self.overlaps = tuple(overlaps)


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


class StillAsked(RuleBroken):
    """The client waits for an answer; `requests` are the copies and corrections asked for."""

    def __init__(self, requests: Sequence[Any]) -> None:
        super().__init__(len(requests))
        self.requests = tuple(requests)


class StillHeld(RuleBroken):
    """The record is held against erasure."""

    def __init__(self, reason: str) -> None:
        super().__init__()
        self.reason = reason


class HeldAlready(RuleBroken):
    """The record is held since before."""


class AskedAlready(RuleBroken):
    """The erasure was asked before and waits."""


class SamePerson(RuleBroken):
    """Who asks for an erasure cannot confirm it."""


class NotOpen(RuleBroken):
    """The erasure was confirmed or withdrawn, or the hold lifted, before."""
