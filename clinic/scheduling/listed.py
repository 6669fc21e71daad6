"""An existing appointment list from a CSV or an iCalendar file. Pure: shared file code, icalendar.

Names are kept as written; who and what they mean is looked up where the database is.
"""

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta
from zoneinfo import ZoneInfo

from icalendar import Calendar, Event

from clinic.common.csv_files import Column, Layout, Problem, day_read, decoded, read_table
from clinic.common.file_errors import FileTooLong
from clinic.common.vocabulary import Word
from clinic.scheduling.desk_errors import CalendarUnreadable, NotAnAppointment, Repeats
from clinic.scheduling.spans import Span, lasting, moment

# More than a small practice books in years; keeps a wrong file from filling the database.
MOST_ROWS = 20_000
LONGEST_MIN = 480


class ListedStatus(Word):
    """How an appointment of the list stands; nothing written means booked."""

    BOOKED = "booked", "booked"
    CONFIRMED = "confirmed", "confirmed"
    DONE = "done", "done"
    NO_SHOW = "no_show", "no-show"


COLUMNS = (
    Column("client", "the record number, or the name as Family, Given", "T00001"),
    Column("on", "the day as year-month-day, such as 2026-03-04", "2026-03-04"),
    Column("at", "the time of day as 09:30", "09:30"),
    Column("minutes", "the length in minutes; nothing means the kind's usual length", "60", False),
    Column("therapist", "the name or sign-in name of the therapist", "", False),
    Column("room", "the name of the room, or nothing", "", False),
    Column("kind", "the name of the kind of appointment", "Treatment", False),
    Column("status", "booked, confirmed, done or no_show; nothing means booked", "booked", False),
    Column("note", "a note for the desk without a diagnosis, or nothing", "", False),
)


@dataclass(frozen=True)
class Listed:
    """One appointment as the file has it. `minutes` None: the usual length of its kind."""

    line: int
    client: str
    starts_at: datetime
    minutes: int | None
    therapist: str = ""
    room: str = ""
    kind: str = ""
    status: ListedStatus = ListedStatus.BOOKED
    note: str = ""

    def span(self, usual_min: int) -> Span:
        return lasting(self.starts_at, self.minutes or usual_min)


@dataclass(frozen=True)
class ListRead:
    """A file's appointments and what is wrong with the other lines; `read_as` for the report."""

    rows: tuple[Listed, ...]
    problems: tuple[Problem, ...]
    read_as: str
    row_count: int


def read_list(raw: bytes, zone: ZoneInfo) -> ListRead:
    """Every appointment of a file. Raises the FileErrors of the file as a whole.

    Times without a zone are the practice's wall time.
    """
    if b"BEGIN:VCALENDAR" in raw[:2000].upper():
        return _read_calendar(raw, zone)
    table = read_table(raw, LAYOUT)
    rows = tuple(
        Listed(
            line=line,
            starts_at=moment(values["on"], values["at"], zone),
            **{name: values[name] for name in SAME_NAMES},
        )
        for line, values in table.rows
    )
    read_as = f"{table.encoding} separated by {table.separator}"
    return ListRead(rows, table.problems, read_as, table.row_count)


def _time(text: str) -> time:
    if not re.fullmatch(r"\d{1,2}:\d{2}", text, re.ASCII):
        raise ValueError(text)
    return time.fromisoformat(text.zfill(5))


def _minutes(text: str) -> int | None:
    minutes = int(text) if text else None
    if minutes is not None and not 5 <= minutes <= LONGEST_MIN:
        raise ValueError(text)
    return minutes


def _note(text: str) -> str:
    if len(text) > 200:
        raise ValueError(text)
    return text


READERS: dict[str, Callable[[str], object]] = {
    "client": str,
    "on": day_read,
    "at": _time,
    "minutes": _minutes,
    "therapist": str,
    "room": str,
    "kind": str,
    "status": lambda text: ListedStatus(text.lower().replace("-", "_") or "booked"),
    "note": _note,
}
LAYOUT = Layout(COLUMNS, READERS, MOST_ROWS)
SAME_NAMES = ("client", "minutes", "therapist", "room", "kind", "status", "note")


# iCalendar: "line" is the number of the entry in the file, from 1.


def _read_calendar(raw: bytes, zone: ZoneInfo) -> ListRead:
    decoded(raw)  # an empty or binary file is told as such
    try:
        events = [event for each in Calendar.from_ical(raw, multiple=True) for event in each.events]
    except (ValueError, KeyError, IndexError) as error:
        raise CalendarUnreadable from error
    if len(events) > MOST_ROWS:
        raise FileTooLong(MOST_ROWS)
    rows: list[Listed] = []
    problems: list[Problem] = []
    for number, event in enumerate(events, start=1):
        if str(event.get("STATUS", "")).upper() == "CANCELLED":
            continue
        found = _listed(number, event, zone)
        rows += [found] if isinstance(found, Listed) else []
        problems += [found] if isinstance(found, Problem) else []
    return ListRead(tuple(rows), tuple(problems), "iCalendar", len(events))


def _listed(number: int, event: Event, zone: ZoneInfo) -> Listed | Problem:
    summary = _text(event, "SUMMARY")
    if "RRULE" in event or "RDATE" in event:
        return Problem(number, Repeats(), found=summary[:40])
    starts_at, minutes = _times(event, zone)
    if starts_at is None or not 5 <= minutes <= LONGEST_MIN:
        return Problem(number, NotAnAppointment(), found=summary[:40])
    return Listed(
        line=number,
        client=summary,
        starts_at=starts_at,
        minutes=minutes,
        room=_text(event, "LOCATION"),
        kind=next(_categories(event), ""),
        status=ListedStatus.BOOKED,
    )


def _times(event: Event, zone: ZoneInfo) -> tuple[datetime | None, int]:
    """The beginning in UTC and the length in minutes; None for an entry without a time of day."""
    starts, ends = _moment(event, "DTSTART", zone), _moment(event, "DTEND", zone)
    if starts is None:
        return None, 0
    duration = event.get("DURATION")
    length: timedelta = ends - starts if ends else duration.dt if duration else timedelta()
    return starts, int(length.total_seconds() // 60)


def _moment(event: Event, name: str, zone: ZoneInfo) -> datetime | None:
    value = getattr(event.get(name), "dt", None)
    if not isinstance(value, datetime):
        return None
    return value.astimezone(UTC) if value.tzinfo else moment(value.date(), value.time(), zone)


def _text(event: Event, name: str) -> str:
    return " ".join(str(event.get(name, "")).split())[:200]


def _categories(event: Event) -> Iterator[str]:
    found = event.get("CATEGORIES")
    for one in getattr(found, "cats", ()):
        yield str(one).strip()
