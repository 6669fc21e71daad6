"""Which re-measurements fell due, and which were done in time: the recall list's own rules. Pure.

A re-measurement counts once it stood on the recall list: due so many months after the last taping,
unless the client was taped again before the list, which looks some days ahead, showed it.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from functools import lru_cache
from itertools import zip_longest

from clinic.common.vocabulary import Phase, Word
from clinic.overview.report_period import Period
from clinic.scheduling.recalls import LOOK_AHEAD_DAYS, measured_again_after

# A re-measurement or a letter so many days after its day is late but not missing: the days that
# the recall list looks ahead, so that there is time to book.
GRACE_DAYS = LOOK_AHEAD_DAYS
GRACE = timedelta(days=GRACE_DAYS)


class Kept(Word):
    """What became of a re-measurement that was due."""

    ON_TIME = "on_time", "by the day due"
    LATE = "late", f"up to {GRACE_DAYS} days later"
    MISSED = "missed", "later, or not yet"


@dataclass(frozen=True, slots=True)
class Watched:
    """One episode under surveillance. Days are the practice's, `taped_on` ascending.

    `spans` are (first day, day on which it ended) of each surveillance phase; None: it runs.
    """

    opened_on: date
    every_months: int | None
    taped_on: tuple[date, ...]
    spans: tuple[tuple[date, date | None], ...]


def due_in(watched: Watched, period: Period, *, today: date) -> Iterator[Kept]:
    """What became of each re-measurement whose day lies in the period and is over."""
    starts = sorted({watched.opened_on, *watched.taped_on})
    for start_on, next_on in zip_longest(starts, starts[1:]):
        due_on = _due_on(start_on, watched.every_months)
        if not (due_on and period.holds(due_on) and due_on < today):
            continue
        if _is_watched(watched, due_on) and (next_on is None or next_on >= due_on - GRACE):
            yield _kept(due_on, next_on)


@lru_cache(maxsize=8192)  # the days of a few years, each asked for by many episodes
def _due_on(start_on: date, every_months: int | None) -> date | None:
    interval = measured_again_after(Phase.SURVEILLANCE, every_months)
    return start_on + interval if interval else None


def _is_watched(watched: Watched, on: date) -> bool:
    return any(since <= on and (ended is None or on < ended) for since, ended in watched.spans)


def _kept(due_on: date, next_on: date | None) -> Kept:
    if next_on is None or next_on > due_on + GRACE:
        return Kept.MISSED
    return Kept.ON_TIME if next_on <= due_on else Kept.LATE


def letter_is_on_time(reported_to: date, approved_on: date) -> bool:
    """Approved at most the days of grace after the last day it reports on; own rule, no source."""
    return approved_on <= reported_to + GRACE
