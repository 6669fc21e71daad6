"""What a person can mend about recalls, wait list, feeds and imports. Each carries data only."""

from typing import Any

from clinic.common.errors import RuleBroken
from clinic.common.file_errors import FileError

# RuleBroken
# ├── SnoozedIntoThePast
# ├── EntryClosed
# ├── NothingFits
# ├── NoMailServer
# ├── ConsentStands
# └── FileError
#     ├── NobodyFound, NameNotUnique                     whose appointment it is
#     ├── TherapistUnknown, RoomUnknown, KindUnknown     words that nobody here uses
#     ├── NotAnAppointment, Repeats                      an entry that is no single appointment
#     ├── TimeTaken, AlreadyThere                        against what is booked
#     ├── CalendarUnreadable                             no calendar file
#     └── ListRefused                                    the file has problems, so nothing was saved


class SnoozedIntoThePast(RuleBroken):
    """Put off until a day that has come."""

    field = "until_on"


class EntryClosed(RuleBroken):
    """Somebody who is no longer waiting."""


class NothingFits(RuleBroken):
    """The free time does not suit what the client can do."""


class NoMailServer(RuleBroken):
    """The clinic has not said how e-mail is sent."""


class ConsentStands(RuleBroken):
    """The client has agreed to this already."""

    field = "channel"


class ListError(FileError):
    """A rule about one appointment of a list to be imported."""

    def __init__(self, said: str = "", count: int = 0) -> None:
        super().__init__(said, count)
        self.said = said
        self.count = count


class NobodyFound(ListError):
    """No client has this record number or name."""


class NameNotUnique(ListError):
    """Several clients have this name."""


class TherapistUnknown(ListError):
    """No therapist has this name or sign-in name."""


class RoomUnknown(ListError):
    """No room has this name."""


class KindUnknown(ListError):
    """No kind of appointment has this name."""


class NotAnAppointment(ListError):
    """An entry without a time of day, or without a length."""


class Repeats(ListError):
    """An entry that repeats."""


class TimeTaken(ListError):
    """The therapist, the room or the client has another appointment then."""


class AlreadyThere(ListError):
    """The same appointment is booked already."""


class CalendarUnreadable(FileError):
    """A file that is no iCalendar."""


class ListRefused(FileError):
    """The file has problems, gathered in the report; nothing was saved."""

    def __init__(self, report: Any) -> None:
        super().__init__()
        self.report = report
