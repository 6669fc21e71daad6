"""Calendar files of RFC 5545: lines, folding, time zones, events. Pure: standard library only.

Written by hand, so that the library which reads them back in the tests is an independent one.
"""

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

CONTENT_TYPE = "text/calendar; charset=utf-8"
PRODUCT = "-//Ebbline//Appointments//EN"
# RFC 5545, section 3.1: lines of at most 75 octets, without the line break.
MOST_OCTETS = 75
STAMP = "%Y%m%dT%H%M%S"
# How often a calendar program is asked to look again. Common practice, no source.
LOOK_AGAIN = "PT15M"


@dataclass(frozen=True, slots=True)
class Event:
    """One appointment as a calendar shows it. Moments are aware; `sequence` counts changes."""

    uid: str
    starts_at: datetime
    ends_at: datetime
    summary: str
    changed_at: datetime
    sequence: int = 0
    location: str = ""
    description: str = ""
    is_cancelled: bool = False


def calendar_file(events: Sequence[Event], *, zone: ZoneInfo, title: str = "") -> bytes:
    """The bytes of a calendar, with the rules of its time zone over the years it spans."""
    lines = ["BEGIN:VCALENDAR", "VERSION:2.0", f"PRODID:{PRODUCT}", "CALSCALE:GREGORIAN"]
    lines += ["METHOD:PUBLISH"]
    if title:
        # NAME and REFRESH-INTERVAL: RFC 7986; the X- forms are read by older programs.
        lines += [f"NAME:{escaped(title)}", f"X-WR-CALNAME:{escaped(title)}"]
        lines += [f"REFRESH-INTERVAL;VALUE=DURATION:{LOOK_AGAIN}", f"X-PUBLISHED-TTL:{LOOK_AGAIN}"]
    if events:
        first = min(one.starts_at for one in events)
        last = max(one.ends_at for one in events)
        lines += zone_lines(zone, first, last)
    for event in events:
        lines += _event_lines(event, zone)
    lines += ["END:VCALENDAR"]
    return b"".join(folded(line) for line in lines)


def _event_lines(event: Event, zone: ZoneInfo) -> Iterator[str]:
    yield "BEGIN:VEVENT"
    yield f"UID:{event.uid}"
    yield f"DTSTAMP:{utc(event.changed_at)}"
    yield f"SEQUENCE:{event.sequence}"
    yield f"DTSTART;{local(event.starts_at, zone)}"
    yield f"DTEND;{local(event.ends_at, zone)}"
    yield f"SUMMARY:{escaped(event.summary)}"
    for name, text in (("LOCATION", event.location), ("DESCRIPTION", event.description)):
        if text:
            yield f"{name}:{escaped(text)}"
    yield "STATUS:CANCELLED" if event.is_cancelled else "STATUS:CONFIRMED"
    yield "CLASS:PRIVATE"
    yield "END:VEVENT"


def utc(at: datetime) -> str:
    return at.astimezone(UTC).strftime(STAMP) + "Z"


def local(at: datetime, zone: ZoneInfo) -> str:
    """A moment as wall time of a zone. In the hour shown twice in autumn the second showing has
    no wall time of its own, so it is written in UTC (RFC 5545, 3.3.5: the first is meant).
    """
    shown = at.astimezone(zone)
    if shown.fold:
        return f"VALUE=DATE-TIME:{utc(at)}"
    return f"TZID={zone.key}:{shown.strftime(STAMP)}"


def escaped(text: str) -> str:
    """Text as a value: RFC 5545, section 3.3.11. Control signs other than line breaks go."""
    plain = re.sub(r"\r\n|\r", "\n", text)
    plain = re.sub(r"[\x00-\x08\x0b-\x1f\x7f]", "", plain)
    return re.sub(r"([\\;,])", r"\\\1", plain).replace("\n", "\\n")


def folded(line: str) -> bytes:
    """One content line as bytes: folded before 75 octets, no character torn, ended by CRLF."""
    pieces, piece = [], b""
    for sign in line:
        octets = sign.encode()
        if len(piece) + len(octets) > MOST_OCTETS:
            pieces.append(piece)
            piece = b" "
        piece += octets
    return b"\r\n".join([*pieces, piece]) + b"\r\n"


# Time zones


@dataclass(frozen=True, slots=True)
class Change:
    """The moment from which a zone's clocks show another offset."""

    at: datetime
    before: timedelta
    after: timedelta
    name: str
    is_daylight: bool


def zone_lines(zone: ZoneInfo, first: datetime, last: datetime) -> Iterator[str]:
    """A VTIMEZONE that holds for all moments between two, every change spelled out."""
    yield "BEGIN:VTIMEZONE"
    yield f"TZID:{zone.key}"
    begins = datetime(first.astimezone(UTC).year - 1, 1, 1, tzinfo=UTC)
    ends = datetime(last.astimezone(UTC).year + 2, 1, 1, tzinfo=UTC)
    for change in [_standing(zone, begins), *changes(zone, begins, ends)]:
        yield from _change_lines(change)
    yield "END:VTIMEZONE"


def _standing(zone: ZoneInfo, at: datetime) -> Change:
    """What the clocks show at first, written as a change to the same offset."""
    shown = at.astimezone(zone)
    offset = _offset(zone, at)
    return Change(at, offset, offset, shown.tzname() or "", bool(shown.dst()))


def changes(zone: ZoneInfo, begins: datetime, ends: datetime) -> Iterator[Change]:
    """Every change of offset between two moments, to the second, in order."""
    at, step = begins, timedelta(days=1)
    while at < ends:
        after = at + step
        if _offset(zone, at) != _offset(zone, after):
            moment = _turn(zone, at, after)
            shown = moment.astimezone(zone)
            yield Change(
                at=moment,
                before=_offset(zone, at),
                after=_offset(zone, after),
                name=shown.tzname() or "",
                is_daylight=bool(shown.dst()),
            )
        at = after


def _turn(zone: ZoneInfo, low: datetime, high: datetime) -> datetime:
    """The first second with the later offset, by halving."""
    old = _offset(zone, low)
    while high - low > timedelta(seconds=1):
        middle = low + timedelta(seconds=(high - low) // timedelta(seconds=2))
        low, high = (middle, high) if _offset(zone, middle) == old else (low, middle)
    return high


def _offset(zone: ZoneInfo, at: datetime) -> timedelta:
    return at.astimezone(zone).utcoffset() or timedelta()


def _change_lines(change: Change) -> Iterator[str]:
    kind = "DAYLIGHT" if change.is_daylight else "STANDARD"
    wall = (change.at + change.before).replace(tzinfo=None)
    yield f"BEGIN:{kind}"
    yield f"DTSTART:{wall.strftime(STAMP)}"
    yield f"TZOFFSETFROM:{_signed(change.before)}"
    yield f"TZOFFSETTO:{_signed(change.after)}"
    yield f"TZNAME:{escaped(change.name)}"
    yield f"END:{kind}"


def _signed(offset: timedelta) -> str:
    minutes = int(offset.total_seconds() // 60)
    return f"{'-' if minutes < 0 else '+'}{abs(minutes) // 60:02}{abs(minutes) % 60:02}"


def initials(*names: str) -> str:
    """Mary Ann Brook-Hill -> M. A. B.; what is no letter is left out."""
    words = (word for name in names for word in name.split())
    firsts = (next((sign for sign in word if sign.isalpha()), "") for word in words)
    return " ".join(f"{first.upper()}." for first in firsts if first)
