"""What can become of an appointment. Pure: standard library, vocabulary and errors only."""

from datetime import datetime, timedelta

from clinic.common.vocabulary import Word

# A cancellation with less notice than this counts as late. Common practice, no source.
LATE_UNDER = timedelta(hours=24)


class Status(Word):
    """Where an appointment stands."""

    BOOKED = "booked", "booked"
    CONFIRMED = "confirmed", "confirmed"
    ARRIVED = "arrived", "arrived"
    IN_SESSION = "in_session", "in session"
    DONE = "done", "done"
    CANCELLED_EARLY = "cancelled_early", "cancelled in time"
    CANCELLED_LATE = "cancelled_late", "cancelled late"
    NO_SHOW = "no_show", "no-show"


class CancelReason(Word):
    """Why a client does not come. Words that anybody at the desk may read."""

    OTHER_TIME = "other_time", "wants another time"
    UNWELL = "unwell", "unwell"
    HOSPITAL = "hospital", "in hospital"
    TRANSPORT = "transport", "transport"
    WEATHER = "weather", "weather"
    COST = "cost", "cost"
    AUTHORISATION = "authorisation", "authorisation missing"
    STAFF = "staff", "therapist away"
    CLOSED = "closed", "clinic closed"
    OTHER = "other", "other"


CANCELLED = frozenset({Status.CANCELLED_EARLY, Status.CANCELLED_LATE})
# These give the therapist's, the room's and the client's time back.
FREED = CANCELLED | {Status.NO_SHOW}
HOLDING = frozenset(Status) - FREED
# An appointment that can still be given another time.
MOVABLE = frozenset({Status.BOOKED, Status.CONFIRMED})
NEEDS_REASON = CANCELLED
# That somebody came, or did not, is known on the day and not before.
TOLD_ON_THE_DAY = frozenset({Status.ARRIVED, Status.IN_SESSION, Status.DONE, Status.NO_SHOW})

FIRST = Status.BOOKED
FINAL = CANCELLED | {Status.DONE}

# Steps back (arrived to booked, no-show to booked) take back a press of the wrong button.
NEXT: dict[Status, tuple[Status, ...]] = {
    Status.BOOKED: (
        Status.CONFIRMED,
        Status.ARRIVED,
        Status.NO_SHOW,
        Status.CANCELLED_EARLY,
        Status.CANCELLED_LATE,
    ),
    Status.CONFIRMED: (
        Status.ARRIVED,
        Status.BOOKED,
        Status.NO_SHOW,
        Status.CANCELLED_EARLY,
        Status.CANCELLED_LATE,
    ),
    Status.ARRIVED: (Status.IN_SESSION, Status.BOOKED, Status.CANCELLED_LATE),
    Status.IN_SESSION: (Status.DONE, Status.ARRIVED),
    Status.NO_SHOW: (Status.BOOKED,),
    Status.DONE: (),
    Status.CANCELLED_EARLY: (),
    Status.CANCELLED_LATE: (),
}


def may_become(present: Status, wanted: Status) -> bool:
    """Whether an appointment in one state may be put into another."""
    return wanted in NEXT[present]


def cancelled_status(*, starts_at: datetime, now: datetime) -> Status:
    """Early or late, by the notice given. Both moments carry their time zone."""
    return Status.CANCELLED_LATE if starts_at - now < LATE_UNDER else Status.CANCELLED_EARLY
