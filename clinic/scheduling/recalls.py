"""Who is due, by which day and why, from what was observed. Pure, with dateutil.

Nothing here is stored: the same facts and the same day always give the same list.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cache
from uuid import UUID

from dateutil.relativedelta import relativedelta

from clinic.common.vocabulary import Phase
from clinic.scheduling.words import RecallReason

# Surveillance: every three months after the baseline, Stout Gergich et al., Cancer
# 2008;112:2809-2819. Maintenance: within six months; common practice, no source.
USUAL_MONTHS = {Phase.SURVEILLANCE: 3, Phase.MAINTENANCE: 6}
# Intensive: one measuring visit a week, which comes with the treatments and needs no recall;
# common practice, no source.
INTENSIVE_WEEKS = 1

# A progress report at least once every 10 treatment days: CMS Medicare Benefit Policy Manual
# (Pub. 100-02), chapter 15, 220.3 D.
REPORT_EVERY_VISITS = 10
# The desk is told this many visits before; common practice, no source.
REPORT_NOTICE_VISITS = 2

# When an authorisation is about to run out; common practice, no source.
FEW_VISITS_LEFT = 3
ENDS_SOON_DAYS = 14
# An authorisation that ended longer ago than this is history; common practice, no source.
ENDED_LATELY_DAYS = 30

# A time given back longer ago than this is no longer chased; common practice, no source.
MISSED_WITHIN_DAYS = 365

# How far ahead the list looks, so that there is time to book; common practice, no source.
LOOK_AHEAD_DAYS = 14


@dataclass(frozen=True, slots=True)
class Recall:
    """A client is due, since or from a day. `count`: visits done or left, by the reason."""

    reason: RecallReason
    due_on: date
    count: int | None = None

    def is_overdue(self, today: date) -> bool:
        return self.due_on < today


@dataclass(frozen=True, slots=True)
class CareFacts:
    """One open episode, as far as a recall rests on it. Days are the practice's."""

    opened_on: date
    phase: Phase
    phase_since_on: date
    last_taped_on: date | None
    every_months: int | None  # None: the usual for the phase
    treatments_done: int  # since the episode was opened
    garment_due_on: date | None = None  # the first garment in use to be replaced
    level_since_on: date | None = None  # intensive phase: change within error since this day


@dataclass(frozen=True, slots=True)
class BookedFacts:
    """What a client's bookings say. None: there is none."""

    last_freed_on: date | None = None  # the latest time missed or cancelled
    last_held_on: date | None = None  # the latest time booked or kept, past or to come
    next_on: date | None = None
    next_measuring_on: date | None = None  # evaluation or re-measurement
    next_fitting_on: date | None = None  # garment fitting


@dataclass(frozen=True, slots=True)
class Cover:
    """An authorisation with what is used of it. Visits, not units."""

    from_on: date
    to_on: date
    visits: int
    used: int
    booked: int

    @property
    def left(self) -> int:
        """Visits neither used nor booked; below 0 when more are booked than authorised."""
        return self.visits - self.used - self.booked

    def has_ended(self, on: date) -> bool:
        return self.to_on < on

    def is_running_out(self, on: date) -> bool:
        """Few visits left, or the end near or past."""
        return self.left <= FEW_VISITS_LEFT or self.to_on <= on + timedelta(days=ENDS_SOON_DAYS)


@dataclass(frozen=True, slots=True)
class ClientFacts:
    """All that the recalls of one client rest on."""

    episodes: tuple[CareFacts, ...] = ()  # open ones
    is_discharged: bool = False  # had episodes, none is open
    booked: BookedFacts = BookedFacts()
    cover: Cover | None = None  # the authorisation that ends last
    told: tuple[Recall, ...] = ()  # what other parts of the record say is due


@dataclass(frozen=True, slots=True)
class Ask:
    """On which day the list is made, and how many days ahead it looks."""

    today: date
    ahead_days: int = LOOK_AHEAD_DAYS

    @property
    def until_on(self) -> date:
        return self.today + timedelta(days=self.ahead_days)


def recalls(clients: Mapping[UUID, ClientFacts], ask: Ask) -> Iterator[tuple[UUID, Recall]]:
    """Every recall that is due or falls due within the days ahead, in no order."""
    for client_id, facts in clients.items():
        for recall in recalls_of(facts, ask):
            yield client_id, recall


def recalls_of(facts: ClientFacts, ask: Ask) -> list[Recall]:
    """One client's recalls, at most one of each reason, earliest first."""
    found: dict[RecallReason, Recall] = {}
    for recall in _every(facts, ask.today):
        known = found.get(recall.reason)
        if recall.due_on <= ask.until_on and (known is None or recall.due_on < known.due_on):
            found[recall.reason] = recall
    return sorted(found.values(), key=lambda recall: (recall.due_on, recall.reason))


def _every(facts: ClientFacts, today: date) -> Iterator[Recall]:
    for episode in facts.episodes:
        yield from _measuring(episode, facts.booked, today)
        yield from _report(episode, today)
        yield from _nothing_booked(episode, facts.booked, today)
        yield from _garments(episode, facts.booked, today)
    yield from facts.told
    if not facts.is_discharged:
        yield from _missed(facts.booked, today)
    if facts.cover and not facts.is_discharged:
        yield from _authorisation(facts.cover, today)


@cache
def measured_again_after(phase: Phase, every_months: int | None = None) -> relativedelta | None:
    """Time from one measuring to the next; `every_months` where it differs from the usual.

    None in a phase that is not measured again.
    """
    if phase is Phase.INTENSIVE:
        return relativedelta(weeks=INTENSIVE_WEEKS)
    if phase not in USUAL_MONTHS:
        return None
    return relativedelta(months=every_months or USUAL_MONTHS[phase])


def _measuring(episode: CareFacts, booked: BookedFacts, today: date) -> Iterator[Recall]:
    """Due so many months after the last taping, unless a day for it is booked."""
    interval = measured_again_after(episode.phase, episode.every_months)
    if interval is None or episode.phase is Phase.INTENSIVE:
        return
    if booked.next_measuring_on and booked.next_measuring_on >= today:
        return
    last_on = episode.last_taped_on or episode.opened_on
    yield Recall(RecallReason.REMEASUREMENT, last_on + interval)


def _report(episode: CareFacts, today: date) -> Iterator[Recall]:
    """From two visits before each tenth until the visit after it."""
    done = episode.treatments_done
    to_go = -done % REPORT_EVERY_VISITS
    if done and to_go <= REPORT_NOTICE_VISITS:
        yield Recall(RecallReason.PROGRESS_REPORT, today, count=done)


def _nothing_booked(episode: CareFacts, booked: BookedFacts, today: date) -> Iterator[Recall]:
    if episode.phase is Phase.INTENSIVE and booked.next_on is None:
        last_on = booked.last_held_on or episode.phase_since_on
        yield Recall(RecallReason.NOTHING_BOOKED, min(last_on, today))


def _garments(episode: CareFacts, booked: BookedFacts, today: date) -> Iterator[Recall]:
    """Until a fitting is booked."""
    if booked.next_fitting_on and booked.next_fitting_on >= today:
        return
    if episode.garment_due_on:
        yield Recall(RecallReason.GARMENT, episode.garment_due_on)
    if episode.level_since_on:
        yield Recall(RecallReason.GARMENTS_READY, min(episode.level_since_on, today))


def _missed(booked: BookedFacts, today: date) -> Iterator[Recall]:
    """The last time was missed or cancelled and nothing was booked after it."""
    freed_on, held_on = booked.last_freed_on, booked.last_held_on
    if freed_on is None or (held_on is not None and held_on >= freed_on):
        return
    if freed_on >= today - timedelta(days=MISSED_WITHIN_DAYS):
        yield Recall(RecallReason.MISSED, min(freed_on, today))


def _authorisation(cover: Cover, today: date) -> Iterator[Recall]:
    if cover.to_on < today - timedelta(days=ENDED_LATELY_DAYS) or not cover.is_running_out(today):
        return
    due_on = today if cover.left <= FEW_VISITS_LEFT else cover.to_on
    yield Recall(RecallReason.AUTHORISATION, min(due_on, cover.to_on), count=cover.left)
