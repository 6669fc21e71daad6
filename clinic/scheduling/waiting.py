"""Who on the wait list fits a time that came free, and why. Pure: this app's pure modules only."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time
from uuid import UUID
from zoneinfo import ZoneInfo

from clinic.common.vocabulary import Word
from clinic.scheduling.slots import overlaps_any
from clinic.scheduling.spans import Span, lasting, moment
from clinic.scheduling.words import Urgency


class Why(Word):
    """What speaks for offering a free time to somebody."""

    ASKED_FOR = "asked_for", "asked for this therapist"
    ANY_THERAPIST = "any_therapist", "any therapist will do"
    THIS_DAY = "this_day", "can come on this weekday"
    THIS_HOUR = "this_hour", "can come at this hour"
    FILLS_IT = "fills_it", "fills the time exactly"
    URGENT = "urgent", "should come as soon as possible"


class WhyNot(Word):
    """Why a free time does not suit somebody, in the order in which it is said."""

    TOO_LONG = "too_long", "needs more time"
    OTHER_THERAPIST = "other_therapist", "waits for another therapist"
    OTHER_DAY = "other_day", "cannot come on this day"
    OTHER_HOUR = "other_hour", "cannot come at this hour"
    HAS_APPOINTMENT = "has_appointment", "has another appointment then"
    SAID_NO = "said_no", "declined this time"


RANK = {Urgency.FIRST: 0, Urgency.SOON: 1, Urgency.USUAL: 2}


@dataclass(frozen=True, slots=True)
class Opening:
    """A free time of a therapist, in a room if it had one."""

    span: Span
    therapist_id: int
    room_id: int | None = None


@dataclass(frozen=True, slots=True)
class Waiting:
    """Somebody who would come, and when they can. Weekdays: Monday is 0, none given: any."""

    entry_id: int
    client_id: UUID
    minutes: int
    joined_at: datetime
    urgency: Urgency = Urgency.USUAL
    therapist_id: int | None = None
    weekdays: frozenset[int] = frozenset()
    from_time: time | None = None
    to_time: time | None = None
    from_on: date | None = None
    until_on: date | None = None
    has_declined: bool = False
    busy: Sequence[Span] = ()  # the client's own appointments around, ascending


@dataclass(frozen=True, slots=True)
class Match:
    """A fit: when to offer, and what speaks for it."""

    waiting: Waiting
    span: Span
    why: tuple[Why, ...]


@dataclass(frozen=True, slots=True)
class Misfit:
    waiting: Waiting
    why_not: WhyNot


def sorted_out(
    opening: Opening, waiting: Iterable[Waiting], zone: ZoneInfo
) -> tuple[list[Match], list[Misfit]]:
    """Those who fit a free time, in the order to call them, and those who do not.

    Urgency first, then who asked for this very therapist, then who has waited longest.
    """
    matches, misfits = [], []
    for one in waiting:
        found = judged(opening, one, zone)
        matches += [found] if isinstance(found, Match) else []
        misfits += [found] if isinstance(found, Misfit) else []
    return sorted(matches, key=_rank), misfits


def _rank(match: Match) -> tuple[int, bool, datetime]:
    waiting = match.waiting
    return RANK[waiting.urgency], Why.ASKED_FOR not in match.why, waiting.joined_at


def judged(opening: Opening, waiting: Waiting, zone: ZoneInfo) -> Match | Misfit:
    """Whether and when somebody fits a free time."""
    if before := _barred(opening, waiting, zone):
        return Misfit(waiting, before)
    span = _earliest(opening, waiting, zone)
    if span is None:
        return Misfit(waiting, WhyNot.OTHER_HOUR)
    if overlaps_any(span, waiting.busy):
        return Misfit(waiting, WhyNot.HAS_APPOINTMENT)
    return Match(waiting, span, _why(opening, waiting, span))


def _barred(opening: Opening, waiting: Waiting, zone: ZoneInfo) -> WhyNot | None:
    """What speaks against the whole free time, whichever part of it."""
    day = opening.span.starts_at.astimezone(zone).date()
    against = {
        WhyNot.TOO_LONG: opening.span.minutes < waiting.minutes,
        WhyNot.OTHER_THERAPIST: waiting.therapist_id not in (None, opening.therapist_id),
        WhyNot.OTHER_DAY: not _comes_on(waiting, day),
        WhyNot.SAID_NO: waiting.has_declined,
    }
    return next((why for why, is_so in against.items() if is_so), None)


def _comes_on(waiting: Waiting, day: date) -> bool:
    is_day = not waiting.weekdays or day.weekday() in waiting.weekdays
    begins = waiting.from_on is None or waiting.from_on <= day
    return is_day and begins and (waiting.until_on is None or day <= waiting.until_on)


def _earliest(opening: Opening, waiting: Waiting, zone: ZoneInfo) -> Span | None:
    """The earliest span of the wanted length inside both the free time and the client's hours."""
    day = opening.span.starts_at.astimezone(zone).date()
    opens = moment(day, waiting.from_time or time.min, zone)
    closes = moment(day, waiting.to_time, zone) if waiting.to_time else opening.span.ends_at
    starts_at = max(opening.span.starts_at, opens)
    span = lasting(starts_at, waiting.minutes)
    return span if span.ends_at <= min(opening.span.ends_at, closes) else None


def _why(opening: Opening, waiting: Waiting, span: Span) -> tuple[Why, ...]:
    told = {
        Why.URGENT: waiting.urgency is Urgency.FIRST,
        Why.ASKED_FOR: waiting.therapist_id is not None,
        Why.ANY_THERAPIST: waiting.therapist_id is None,
        Why.THIS_DAY: bool(waiting.weekdays),
        Why.THIS_HOUR: waiting.from_time is not None or waiting.to_time is not None,
        Why.FILLS_IT: span == opening.span,
    }
    return tuple(why for why, is_so in told.items() if is_so)
