"""Scores of outcome measures from numbers alone; no item is worded here.

DASH, QuickDASH and LLIS are copyrighted: scores only, and commercial electronic use of DASH
needs a licence (from memory, not re-read).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import fmean

from clinic.common.vocabulary import Side, Word
from measurements.limb.score_errors import (
    ActivitiesMiscounted,
    AnswerImpossible,
    AnswersMiscounted,
    RatingsIncomplete,
    TooManyMissing,
    TrialsIncomplete,
)

# QuickDASH: 11 items, at least 10 answered: Gummesson et al., BMC Musculoskelet Disord 2006;7:44.
QUICKDASH_ITEMS, QUICKDASH_NEEDED = 11, 10

# DASH: 30 items, at least 27 answered: issh.org; BMC Musculoskelet Disord 2003;4:11.
DASH_ITEMS, DASH_NEEDED = 30, 27

# Answers to one item, of both: issh.org (each item 1 to 5).
LOWEST_ANSWER, HIGHEST_ANSWER = 1, 5

# Smallest change that matters, points: QuickDASH 14 (9-20), DASH 10 (5-15); the same sources.
QUICKDASH_MCID, DASH_MCID = 14.0, 10.0

# PSFS, points that exceed error at 90 %: mean of activities 2, single activity 3; Stratford et
# al. 1995 as printed on a clinic form (precisionphysio.com.au).
PSFS_MDC90_MEAN, PSFS_MDC90_SINGLE = 2.0, 3.0

# PSFS takes 3 to 5 activities, each 0 (unable) to 10 (able): precisionphysio.com.au.
FEWEST_ACTIVITIES, MOST_ACTIVITIES = 3, 5

# Pain now, usual and worst: the mean of three of Michener et al., see below.
PAIN_RATINGS = 3

# Grip is the mean of three trials: from memory, not re-read.
GRIP_TRIALS = 3

# Mean of three 0-10 pain ratings in shoulder care: Michener et al., J Sport Rehabil
# 2011;20:115-128.
PAIN_MCID_SHOULDER = 2.17


@dataclass(frozen=True)
class ChangeLimits:
    """Smallest change that matters, and smallest that exceeds error at 95 %, in points."""

    mcid: float
    mdc95: float


# LLIS version 1: Lymphology 2015, journals.uair.arizona.edu lymph/18791.
LLIS_V1 = ChangeLimits(mcid=7.31, mdc95=11.53)

# LLIS version 2: Rehabil Oncol 2018;36:28-36.
LLIS_V2 = ChangeLimits(mcid=7.27, mdc95=12.74)


class ChangeMeaning(Word):
    BELOW_MCID = "below_mcid", "below MCID"
    ABOVE_MCID = "above_mcid", "above MCID, below MDC95"
    ABOVE_MDC95 = "above_mdc95", "above MDC95"


def quickdash_score(items: Sequence[int | None]) -> float | None:
    """QuickDASH, 0 (able) to 100; None when more than one item lacks an answer (None).

    ((sum / n) - 1) * 25 over the answered. Source: BMC Musculoskelet Disord 2006;7:44.
    """
    return _disability_score(items, needed=QUICKDASH_NEEDED)


def dash_score(items: Sequence[int | None]) -> float | None:
    """DASH, 0 (able) to 100; None when more than three items lack an answer. Source: issh.org."""
    return _disability_score(items, needed=DASH_NEEDED)


def _disability_score(items: Sequence[int | None], *, needed: int) -> float | None:
    answered = [item for item in items if item is not None]
    return (fmean(answered) - 1) * 25 if len(answered) >= needed else None


@dataclass(frozen=True)
class FunctionChange:
    """PSFS: mean score (0-10, 10 = able) before and after, and whether it exceeds error."""

    before: float
    after: float
    mean_exceeds_mdc90: bool
    single_exceeds_mdc90: tuple[bool, ...]

    @property
    def change(self) -> float:
        return self.after - self.before


def function_change(before: Sequence[float], after: Sequence[float]) -> FunctionChange:
    """PSFS change in points, activities in the same order; reaching the limit counts.

    Source: PSFS_MDC90_MEAN, PSFS_MDC90_SINGLE.
    """
    singles = tuple(
        now - then >= PSFS_MDC90_SINGLE for then, now in zip(before, after, strict=True)
    )
    mean_change = fmean(after) - fmean(before)
    return FunctionChange(fmean(before), fmean(after), mean_change >= PSFS_MDC90_MEAN, singles)


@dataclass(frozen=True)
class PainChange:
    """Mean of 0-10 pain ratings before and after; improvement is positive."""

    before: float
    after: float
    meets_mcid: bool

    @property
    def improvement(self) -> float:
        return self.before - self.after


def pain_change(before: Sequence[float], after: Sequence[float]) -> PainChange:
    """Numeric pain rating change in points. Source: PAIN_MCID_SHOULDER, for shoulders."""
    was, now = fmean(before), fmean(after)
    return PainChange(was, now, was - now >= PAIN_MCID_SHOULDER)


def change_meaning(change: float, limits: ChangeLimits) -> ChangeMeaning:
    """What a change in points means; between the limits it may matter, or be error.

    Source: the limits' own (LLIS_V1, LLIS_V2). The direction is the caller's.
    """
    if abs(change) >= limits.mdc95:
        return ChangeMeaning.ABOVE_MDC95
    return ChangeMeaning.ABOVE_MCID if abs(change) >= limits.mcid else ChangeMeaning.BELOW_MCID


@dataclass(frozen=True)
class ItemRule:
    """How many items a questionnaire has, how many need an answer, and which answers it offers."""

    items: int
    needed: int
    lowest: int = LOWEST_ANSWER
    highest: int = HIGHEST_ANSWER


DASH_RULE = ItemRule(items=DASH_ITEMS, needed=DASH_NEEDED)
QUICKDASH_RULE = ItemRule(items=QUICKDASH_ITEMS, needed=QUICKDASH_NEEDED)


def item_score(items: Sequence[int | None], rule: ItemRule) -> float:
    """Score 0 (able) to 100 of every item's answer, None where there is none.

    Raises AnswersMiscounted, AnswerImpossible, TooManyMissing. Source: that of `dash_score` and
    `quickdash_score`: ((sum / n) - 1) * 25 over the answered.
    """
    if len(items) != rule.items:
        raise AnswersMiscounted(len(items), rule.items)
    for number, answer in enumerate(items, start=1):
        if answer is not None and not rule.lowest <= answer <= rule.highest:
            raise AnswerImpossible(number, answer, rule.lowest, rule.highest)
    score = _disability_score(items, needed=rule.needed)
    if score is None:
        answered = sum(answer is not None for answer in items)
        raise TooManyMissing(answered, rule.needed, rule.items)
    return score


def pain_score(ratings: Sequence[float]) -> float:
    """One 0-10 rating as it is, or the mean of three. Raises RatingsIncomplete.

    Source: mean of three ratings, Michener et al., J Sport Rehabil 2011;20:115-128.
    """
    if len(ratings) not in {1, PAIN_RATINGS}:
        raise RatingsIncomplete(len(ratings))
    return fmean(ratings)


def function_score(activities: Sequence[float]) -> float:
    """Mean of 3 to 5 activity scores, each 0 to 10 (able). Raises ActivitiesMiscounted.

    Source: PSFS as printed on a clinic form (precisionphysio.com.au).
    """
    if not FEWEST_ACTIVITIES <= len(activities) <= MOST_ACTIVITIES:
        raise ActivitiesMiscounted(len(activities), FEWEST_ACTIVITIES, MOST_ACTIVITIES)
    return fmean(activities)


def grip_score(trials_kg: Sequence[float], side: Side) -> float:
    """Mean grip of three trials of one side, kg. Raises TrialsIncomplete.

    Source: mean of three trials, from memory, not re-read.
    """
    if len(trials_kg) != GRIP_TRIALS:
        raise TrialsIncomplete(side, len(trials_kg), GRIP_TRIALS)
    return fmean(trials_kg)
