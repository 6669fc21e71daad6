"""What the numbers of each limb say: better, same or worse, by how much, how sure.

No database, no clock. Classify first, round last: every verdict comes from unrounded values.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date
from itertools import takewhile

from clinic.common.templatetags.units import ml, percent
from clinic.common.vocabulary import Side, Word
from clinic.letters.kinds import LetterKind
from clinic.letters.summary import (
    LimbNumbers,
    Look,
    Measured,
    OwnShift,
    ProgressSummary,
    shift,
)
from measurements.limb.comparison import Judged, Verdict, WeightSays


def day(on: date) -> str:
    """4 Mar 2026, as everywhere on screen and paper."""
    return f"{on.day} {on:%b %Y}"


# From how many times its 95 % limit on a change is called far more than measurement error; common
# practice, no source.
FAR = 2


# A change of weight that prints as 0.0 %.
LEAST_PERCENT = 0.05


class News(Word):
    """What is reported of one limb; the first in this order opens the sentence.

    `{last}` is what the paper compares with beside the baseline, such as "last letter".
    """

    WORSE = "worse", "Worse"
    WORSE_THAN_BASELINE = (
        "worse_than_baseline",
        "Unchanged since the {last}, worse than at baseline",
    )
    BETTER = "better", "Better"
    BETTER_THAN_BASELINE = (
        "better_than_baseline",
        "Unchanged since the {last}, better than at baseline",
    )
    # No excess to begin with: a limb that falls further below the other is no better for it.
    FELL_WITHOUT_EXCESS = "fell_without_excess", "Changed"
    # Both limbs affected: the tape saw a change that does not hold beside that of weight.
    WITH_WEIGHT = "with_weight", "Unchanged when adjusted for weight"
    FIRST = "first", "First measurement"
    NO_BASELINE = "no_baseline", "No baseline to compare with"
    SAME = "same", "Unchanged"

    @property
    def is_worse(self) -> bool:
        return self in {News.WORSE, News.WORSE_THAN_BASELINE}

    @property
    def is_better(self) -> bool:
        return self in {News.BETTER, News.BETTER_THAN_BASELINE}

    @property
    def is_fresh(self) -> bool:
        """Whether it changed since the last letter, or there was none."""
        return self in {News.WORSE, News.BETTER}


@dataclass(frozen=True)
class Track:
    """One quantity followed from letter to letter: the excess, or a limb against itself.

    `course` holds its value at every session, oldest first, now last. `is_retold`: the last letter
    told of this very session, nothing was measured since.
    """

    name: str
    limb: str
    is_excess: bool
    now: Measured
    last: Measured | None
    last_on: date | None
    baseline: Measured | None
    baseline_on: date | None
    is_first: bool
    compared_with: str = LetterKind.LETTER.compared_with
    course: tuple[Measured, ...] = ()
    is_retold: bool = False

    @property
    def since_last(self) -> Judged | None:
        return shift(self.now, self.last)

    @property
    def since_baseline(self) -> Judged | None:
        return shift(self.now, self.baseline)

    @property
    def times_risen(self) -> int:
        """At how many sessions in a row, up to now, it stood above baseline beyond error."""
        risen = takewhile(lambda each: _is_up(shift(each, self.baseline)), reversed(self.course))
        return max(1, sum(1 for _ in risen))


@dataclass(frozen=True)
class Clause:
    """`weight`: what body weight makes of it in bilateral disease, often the same of both limbs."""

    news: News
    text: str
    weight: str = ""


def joined(found: Sequence[Clause]) -> str:
    """Clauses in a row; what weight makes of all of them is said once, at the end."""
    weights = {each.weight for each in found}
    if len(found) > 1 and len(weights) == 1:
        return "; ".join(filter(None, [*(each.text for each in found), *weights]))
    return "; ".join(", ".join(filter(None, [each.text, each.weight])) for each in found)


def tracks(numbers: LimbNumbers) -> tuple[Track, ...]:
    """What is judged: the excess of the affected limb; each limb by itself where there is none."""
    side, limb = numbers.affected_side, numbers.limb.label
    if side and numbers.now.excess:
        looks = (numbers.now.excess, _excess(numbers.last), _excess(numbers.baseline))
        name = f"the excess volume of the {side.label} {limb}"
        track = _track(numbers, (name, f"the {side.label} {limb}"), looks, is_excess=True)
        return (replace(track, course=_course(map(_excess, numbers.points))),)
    sides = [side] if side else list(Side)
    return tuple(_own_tracks(numbers, sides))


def _own_tracks(numbers: LimbNumbers, sides: Iterable[Side]) -> Iterator[Track]:
    for side in sides:
        if now := _own(numbers.now, side, numbers):
            limb = f"the {side.label} {numbers.limb.label}"
            last, baseline = (
                _own(look, side, numbers) for look in (numbers.last, numbers.baseline)
            )
            looks = (now, last, baseline)
            track = _track(numbers, (f"the volume of {limb}", limb), looks, is_excess=False)
            course = _course(_own(point, side, numbers) for point in numbers.points)
            yield replace(track, course=course)


def _course(values: Iterable[Measured | None]) -> tuple[Measured, ...]:
    return tuple(value for value in values if value)


def _excess(look: Look | None) -> Measured | None:
    return look.excess if look else None


def _own(look: Look | None, side: Side, numbers: LimbNumbers) -> Measured | None:
    """With no sound limb to compare, weight has a say."""
    if look is None:
        return None
    return look.weighed(side) if numbers.is_bilateral else look.of(side)


def _track(
    numbers: LimbNumbers,
    names: tuple[str, str],
    looks: tuple[Measured, Measured | None, Measured | None],
    *,
    is_excess: bool,
) -> Track:
    now, last, baseline = looks
    return Track(
        name=names[0],
        limb=names[1],
        is_excess=is_excess,
        now=now,
        last=last if numbers.last and not _is_now(numbers, numbers.last) else None,
        last_on=numbers.last.taken_on if numbers.last else None,
        baseline=baseline if not _is_now(numbers, numbers.baseline) else None,
        baseline_on=numbers.baseline.taken_on if numbers.baseline else None,
        is_first=_is_now(numbers, numbers.baseline),
        is_retold=_is_now(numbers, numbers.last),
    )


def _is_now(numbers: LimbNumbers, look: Look | None) -> bool:
    return look is not None and look.session_id == numbers.now.session_id


def is_newly_risen(track: Track) -> bool:
    """Whether it stands above its baseline beyond error, and did not so in the last letter.

    Found even where it crept up, each step within measurement error of the one before.
    """
    told = track.is_retold or _is_up(shift(track.last, track.baseline))
    return _is_up(track.since_baseline) and not told


def _is_up(change: Judged | None) -> bool:
    return change is not None and change.verdict is Verdict.BEYOND_ERROR_UP


def clause(track: Track) -> Clause:
    """What to say of one track: the last letter first, unless only the baseline shows a change."""
    last, baseline = track.since_last, track.since_baseline
    if last and last.beyond_error:
        since = f"since the {track.compared_with}{_still(last, baseline)}"
        return _changed(track, last, since, news=_without_excess(track, track.last))
    if baseline and baseline.beyond_error:
        news = _without_excess(track, track.baseline)
        standing = _against_baseline(baseline) if last else None
        return _changed(track, baseline, _since(track.baseline_on), news=news or standing)
    return _not_by_weight(track) or _no_change(track)


def _not_by_weight(track: Track) -> Clause | None:
    """A change beyond measurement error by the tape, but not when adjusted for weight."""
    since_last = (track.since_last, f"since the {track.compared_with}")
    for change, since in (since_last, (track.since_baseline, _since(track.baseline_on))):
        if isinstance(change, OwnShift) and change.weight_says is WeightSays.FAILS:
            return _changed(track, change, since, news=News.WITH_WEIGHT)
    return None


def _no_change(track: Track) -> Clause:
    last, baseline = track.since_last, track.since_baseline
    if baseline:
        return _unchanged(track, baseline, _since(track.baseline_on))
    if last:
        return _unchanged(track, last, _since(track.last_on))
    return _standing(track)


def _since(on: date | None) -> str:
    return f"since {day(on)}" if on else "since then"


def _still(last: Judged, baseline: Judged | None) -> str:
    """A turn for the better or worse that has not yet crossed the baseline."""
    if baseline is None or not baseline.beyond_error or baseline.verdict is last.verdict:
        return ""
    return f" (still {'higher' if baseline.value > 0 else 'lower'} than at baseline)"


def _against_baseline(change: Judged) -> News:
    return News.WORSE_THAN_BASELINE if change.value > 0 else News.BETTER_THAN_BASELINE


def _changed(track: Track, change: Judged, since: str, *, news: News | None = None) -> Clause:
    moved = "has risen" if change.value > 0 else "has fallen"
    more = "far more" if abs(change.value) >= FAR * change.limit else "more"
    text = (
        f"{track.name} {moved} by {ml(abs(change.value))} {since}, {more} than measurement error"
        f" ({ml(change.limit)})"
    )
    if news is News.FELL_WITHOUT_EXCESS:
        return Clause(news, f"{text}; there was no excess beyond error before")
    news = news or (News.WORSE if change.value > 0 else News.BETTER)
    return Clause(news, text, _weight_words(change))


def _weight_words(change: Judged) -> str:
    """ "also when adjusted (weight down 1.6 %)"; empty where weight adds nothing."""
    if not isinstance(change, OwnShift) or change.weight_says is None:
        return ""
    says, by_percent = change.weight_says, change.by_weight.weight_percent
    if by_percent is None:
        return says.label
    moved = f"{'up' if by_percent > 0 else 'down'} {percent(abs(by_percent))}"
    if abs(by_percent) < LEAST_PERCENT:
        moved = "unchanged"
    return f"{says.label.removesuffix(' for weight')} (weight {moved})"


def _without_excess(track: Track, then: Measured | None) -> News | None:
    """A fall of what was no excess to begin with, such as where the other limb grew."""
    if not track.is_excess or then is None or track.now.value > then.value:
        return None
    was_larger = _is_up(Judged(then.value, then.error))
    return None if was_larger else News.FELL_WITHOUT_EXCESS


def _unchanged(track: Track, change: Judged, since: str) -> Clause:
    """Where it stands; a difference within error is never written as a change."""
    own = Judged(track.now.value, track.now.error)
    if track.is_excess and not own.beyond_error:
        return Clause(News.SAME, f"{_alike(track, own)}, and steady {since}")
    text = (
        f"{track.name} is {ml(track.now.value)}, steady {since} within measurement error"
        f" ({ml(change.limit)})"
    )
    return Clause(News.SAME, text, _weight_words(change))


def _alike(track: Track, own: Judged) -> str:
    return f"{track.limb} is as large as the other within measurement error ({ml(own.limit)})"


def _standing(track: Track) -> Clause:
    """What a single look says: there is nothing yet to compare it with."""
    news = News.FIRST if track.is_first else News.NO_BASELINE
    now = Judged(track.now.value, track.now.error)
    error = f"measurement error ({ml(now.limit)})"
    if not track.is_excess:
        return Clause(news, f"{track.limb} measures {ml(now.value)}, {error}")
    if not now.beyond_error:
        return Clause(news, _alike(track, now))
    more = "more" if now.value > 0 else "less"
    text = f"{track.limb} holds {ml(abs(now.value))} {more} than the other, beyond {error}"
    return Clause(news, text)


def clauses(summary: ProgressSummary) -> list[Clause]:
    """One clause for each track of each limb, most pressing first."""
    last = summary.kind.compared_with
    return _pressing_first(replace(each, compared_with=last) for each in all_tracks(summary))


def clauses_of_the_whole_course(summary: ProgressSummary) -> list[Clause]:
    """The same from baseline to now, whatever the last letter said."""
    return _pressing_first(
        replace(each, last=None) if each.baseline else each for each in all_tracks(summary)
    )


def all_tracks(summary: ProgressSummary) -> Iterator[Track]:
    """Everything that is judged."""
    return (track for numbers in summary.limbs for track in tracks(numbers))


def fresh_news(summary: ProgressSummary) -> set[News]:
    """What changed of each track; of one that the last letter told of already, nothing."""
    found = {clause(track).news for track in all_tracks(summary) if not track.is_retold}
    return {news for news in found if news.is_fresh}


def _pressing_first(found: Iterable[Track]) -> list[Clause]:
    return sorted(map(clause, found), key=lambda each: list(News).index(each.news))
