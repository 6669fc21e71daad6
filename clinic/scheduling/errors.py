"""What a person can mend about bookings. Each error carries data only."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from clinic.common.errors import RuleBroken
from clinic.scheduling.slots import Conflict
from clinic.scheduling.states import Status

# RuleBroken
# ├── SlotTaken
# ├── NeedsOverruling
# ├── StartsInThePast
# ├── StatusNotNext
# ├── StillAhead
# ├── NotMovable
# ├── ChangedMeanwhile
# ├── SeriesBlocked
# ├── NothingLeftToChange
# ├── HoursOverlap
# └── EndsBeforeStart


class SlotTaken(RuleBroken):
    """The therapist, the room or the client has an appointment then."""

    field = "at"

    def __init__(self, conflicts: Sequence[Conflict], starts_at: datetime) -> None:
        super().__init__(tuple(conflicts), starts_at)
        self.conflicts = tuple(conflicts)
        self.starts_at = starts_at


class NeedsOverruling(RuleBroken):
    """Closed, away or outside hours: possible, but only on purpose."""

    field = "is_deliberate"

    def __init__(self, conflicts: Sequence[Conflict]) -> None:
        super().__init__(tuple(conflicts))
        self.conflicts = tuple(conflicts)


class StartsInThePast(RuleBroken):
    """On a day before today."""

    field = "on"


class StatusNotNext(RuleBroken):
    """A state that cannot follow the present one."""

    def __init__(self, present: Status, wanted: Status) -> None:
        super().__init__(present, wanted)
        self.present = present
        self.wanted = wanted


class StillAhead(RuleBroken):
    """The client came, or did not, is said of an appointment on a later day."""

    def __init__(self, starts_at: datetime) -> None:
        super().__init__(starts_at)
        self.starts_at = starts_at


class NotMovable(RuleBroken):
    """An appointment that has begun, ended or been cancelled keeps its time."""

    def __init__(self, present: Status) -> None:
        super().__init__(present)
        self.present = present


class ChangedMeanwhile(RuleBroken):
    """Somebody else changed the appointment after this person had opened it."""

    def __init__(self, stored: Any) -> None:
        super().__init__(str(stored.pk))
        self.stored = stored


class SeriesBlocked(RuleBroken):
    """Dates of a series that something stands against; nothing was saved."""

    def __init__(self, blocked: Sequence[Any]) -> None:
        super().__init__(len(blocked))
        self.blocked = tuple(blocked)


class NothingLeftToChange(RuleBroken):
    """A series of which every date is past, begun or cancelled."""


class HoursOverlap(RuleBroken):
    """Two stretches of working hours of one weekday overlap."""

    field = "from_time"


class EndsBeforeStart(RuleBroken):
    """A span that ends before, or when, it begins."""

    def __init__(self, field: str) -> None:
        super().__init__(field)
        self.field = field
