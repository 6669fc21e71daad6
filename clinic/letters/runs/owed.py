"""Who is owed a letter for a month, and why or why not. Pure, with dateutil.

The first reason that applies decides. Nothing here reads the record: the same facts and the same
month always give the same answer.
"""

from dataclasses import dataclass
from datetime import date, timedelta
from uuid import UUID

from dateutil.relativedelta import relativedelta

from clinic.common.vocabulary import LetterFrequency
from clinic.letters.runs.words import Reason

ONE_DAY = timedelta(days=1)
# Months that one letter covers, by what the referrer asked for.
MONTHS_COVERED = {LetterFrequency.QUARTERLY: 3}
LONGEST_MONTHS = 3

REASONS_OF_WISHES = {
    LetterFrequency.MONTHLY: Reason.WANTS_MONTHLY,
    LetterFrequency.QUARTERLY: Reason.WANTS_QUARTERLY,
    LetterFrequency.CHANGES: Reason.HAS_CHANGED,
}


@dataclass(frozen=True, slots=True)
class EpisodeFacts:
    """One episode as far as a letter rests on it. Days are the practice's.

    `wish` is None without a referrer; one no longer active is written to by nobody, since the
    post could reach a stranger. `last_letter_to` is the end of the period of the last
    letter or discharge summary approved. `visited_on` holds the days of the last three months.
    """

    episode_id: UUID
    wish: LetterFrequency | None
    agrees: bool
    last_letter_to: date | None
    has_draft: bool
    first_taped_on: date | None
    visited_on: frozenset[date]
    discharged_on: date | None = None
    reader_is_active: bool = True


@dataclass(frozen=True, slots=True)
class Decision:
    """Whether a letter is owed, for which days, and how many of them had a visit."""

    reason: Reason
    period_from: date
    period_to: date
    visits: int

    @property
    def is_owed(self) -> bool:
        return self.reason.is_owed


def month_end(month: date) -> date:
    """The last day of the month that begins on `month`."""
    end_on: date = month + relativedelta(months=1) - ONE_DAY
    return end_on


def first_day_of_interest(month: date) -> date:
    """Visits before this day matter to no letter of the month."""
    first_on: date = month - relativedelta(months=LONGEST_MONTHS - 1)
    return first_on


def decide(facts: EpisodeFacts, month: date) -> Decision:
    """The answer for the month that begins on `month`.

    A letter covers the month, for a referrer who wants one every three months the three that end
    with it, but never a day that an earlier letter covered.
    """
    period_from, period_to = period_of(facts, month)
    visits = sum(period_from <= on <= period_to for on in facts.visited_on)
    reason = _never(facts) or _not_now(facts, month, visits) or _why(facts, month)
    return Decision(reason, min(period_from, period_to), period_to, visits)


def period_of(facts: EpisodeFacts, month: date) -> tuple[date, date]:
    """First and last day; they cross when a letter has covered the whole month already."""
    covered = MONTHS_COVERED.get(facts.wish, 1) if facts.wish else 1
    first_on: date = month - relativedelta(months=covered - 1)
    if facts.last_letter_to is not None:
        first_on = max(first_on, facts.last_letter_to + ONE_DAY)
    return first_on, month_end(month)


def _never(facts: EpisodeFacts) -> Reason | None:
    """What bars every letter, whatever happened."""
    if not facts.agrees:
        return Reason.CLIENT_DECLINES
    if facts.wish is None:
        return Reason.NO_REFERRER
    if not facts.reader_is_active:
        return Reason.REFERRER_GONE
    if facts.wish is LetterFrequency.NEVER:
        return Reason.WANTS_NONE
    return None


def _not_now(facts: EpisodeFacts, month: date, visits: int) -> Reason | None:
    """What bars a letter this month."""
    if _is_told(facts, month, visits):
        return Reason.ALREADY_SENT
    if not _has_ended(facts, month) and not visits:
        return Reason.NO_VISIT
    if facts.first_taped_on is None or facts.first_taped_on > month_end(month):
        return Reason.NOTHING_TAPED
    if facts.has_draft:
        return Reason.DRAFT_OPEN
    if _is_early(facts, month) and not _has_ended(facts, month):
        return Reason.NOT_YET_DUE
    return None


def _why(facts: EpisodeFacts, month: date) -> Reason:
    if _has_ended(facts, month):
        return Reason.DISCHARGED
    return REASONS_OF_WISHES[LetterFrequency(facts.wish)]


def _is_told(facts: EpisodeFacts, month: date, visits: int) -> bool:
    """Whether a letter reaches to the end of the month, or to all that happened in it."""
    told_to = facts.last_letter_to
    if told_to is None or told_to < month:
        return False
    if _has_ended(facts, month) and facts.discharged_on and told_to < facts.discharged_on:
        return False
    return told_to >= month_end(month) or not visits


def _has_ended(facts: EpisodeFacts, month: date) -> bool:
    return facts.discharged_on is not None and month <= facts.discharged_on <= month_end(month)


def _is_early(facts: EpisodeFacts, month: date) -> bool:
    """Whether the last letter is less than three months old for one who wants no more."""
    if facts.wish is not LetterFrequency.QUARTERLY or facts.last_letter_to is None:
        return False
    return facts.last_letter_to >= first_day_of_interest(month)
