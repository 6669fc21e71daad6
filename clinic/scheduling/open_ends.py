"""What is still open about appointments whose time has passed. Pure: this app's modules only."""

from dataclasses import dataclass
from datetime import datetime

from clinic.common.vocabulary import Word
from clinic.scheduling.states import FREED, MOVABLE, Status


class OpenEnd(Word):
    """Something the desk should settle before it goes home."""

    NOT_ARRIVED = "not_arrived", "came or did not come? Say which"
    NOT_ENDED = "not_ended", "arrived, and nobody has noted the end"
    NOT_REBOOKED = "not_rebooked", "not rebooked"
    NOTHING_NEXT = "nothing_next", "leaves without a next appointment"


@dataclass(frozen=True, slots=True)
class Seen:
    """What is known of one appointment: its state, its end, the client's next appointment."""

    status: Status
    ends_at: datetime
    next_at: datetime | None


def open_end(seen: Seen, *, now: datetime) -> OpenEnd | None:
    """What is open about an appointment, None while its time has not passed."""
    if seen.status in FREED:
        return None if seen.next_at else OpenEnd.NOT_REBOOKED
    if seen.status is Status.DONE:
        return None if seen.next_at else OpenEnd.NOTHING_NEXT
    if seen.ends_at > now:
        return None
    return OpenEnd.NOT_ARRIVED if seen.status in MOVABLE else OpenEnd.NOT_ENDED
