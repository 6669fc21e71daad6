"""The words of a letter, from its numbers. No database, no clock.

Written for a reader with twenty seconds: first better, same or worse, one number, how sure, and
whether anything is asked. Classify first, round last: every verdict comes from unrounded values.
A proposal only: the therapist edits it, and the licensed clinician decides.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from datetime import date

from clinic.common.templatetags.units import ml
from clinic.common.vocabulary import Phase, Side, Word
from clinic.letters.kinds import LetterKind
from clinic.letters.summary import (
    LimbNumbers,
    Look,
    Measured,
    Plateau,
    ProgressSummary,
    shift,
)
from clinic.scheduling.recalls import measured_again_after
from measurements.limb.comparison import Judged, Verdict

BOTTOM_LINE_LENGTH = 300  # as the model


def day(on: date) -> str:
    """4 Mar 2026, as everywhere on screen and paper."""
    return f"{on.day} {on:%b %Y}"


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
    FIRST = "first", "First measurement"
    NO_BASELINE = "no_baseline", "No baseline yet"
    SAME = "same", "Unchanged"

    @property
    def is_worse(self) -> bool:
        return self in {News.WORSE, News.WORSE_THAN_BASELINE}


@dataclass(frozen=True)
class Track:
    """One quantity followed from letter to letter: the excess, or a limb against itself."""

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

    @property
    def since_last(self) -> Judged | None:
        return shift(self.now, self.last)

    @property
    def since_baseline(self) -> Judged | None:
        return shift(self.now, self.baseline)


@dataclass(frozen=True)
class Clause:
    news: News
    text: str


@dataclass(frozen=True)
class ProposedText:
    """What the free-text fields hold before the therapist edits them."""

    bottom_line: str
    treatment: str
    adherence: str
    plan: str
    request: str = ""
    response: str = ""
    skilled_need: str = ""
    self_care: str = ""


def tracks(numbers: LimbNumbers) -> tuple[Track, ...]:
    """What is judged: the excess of the affected limb; each limb by itself where there is none."""
    side, limb = numbers.affected_side, numbers.limb.label
    if side and numbers.now.excess:
        looks = (numbers.now.excess, _excess(numbers.last), _excess(numbers.baseline))
        name = f"the excess volume of the {side.label} {limb}"
        return (_track(numbers, (name, f"the {side.label} {limb}"), looks, is_excess=True),)
    sides = [side] if side else list(Side)
    return tuple(_own_tracks(numbers, sides))


def _own_tracks(numbers: LimbNumbers, sides: Iterable[Side]) -> Iterator[Track]:
    for side in sides:
        if now := numbers.now.of(side):
            limb = f"the {side.label} {numbers.limb.label}"
            looks = (now, _own(numbers.last, side), _own(numbers.baseline, side))
            yield _track(numbers, (f"the volume of {limb}", limb), looks, is_excess=False)


def _excess(look: Look | None) -> Measured | None:
    return look.excess if look else None


def _own(look: Look | None, side: Side) -> Measured | None:
    return look.of(side) if look else None


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
    )


def _is_now(numbers: LimbNumbers, look: Look | None) -> bool:
    return look is not None and look.session_id == numbers.now.session_id


def clause(track: Track) -> Clause:
    """What to say of one track: the last letter first, unless only the baseline shows a change."""
    last, baseline = track.since_last, track.since_baseline
    if last and last.beyond_error:
        since = f"since the {track.compared_with}{_still(last, baseline)}"
        return _changed(track, last, since)
    if baseline and baseline.beyond_error:
        news = _against_baseline(baseline) if last else None
        return _changed(track, baseline, _since(track.baseline_on), news=news)
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
    is_up = change.verdict is Verdict.BEYOND_ERROR_UP
    moved = "has risen" if is_up else "has fallen"
    text = (
        f"{track.name} {moved} by {ml(abs(change.value))} {since}, more than measurement error"
        f" ({ml(change.limit)})"
    )
    return Clause(news or (News.WORSE if is_up else News.BETTER), text)


def _unchanged(track: Track, change: Judged, since: str) -> Clause:
    text = f"no change of {track.name} {since} beyond measurement error ({ml(change.limit)})"
    return Clause(News.SAME, text)


def _standing(track: Track) -> Clause:
    """What a single look says: there is nothing yet to compare it with."""
    news = News.FIRST if track.is_first else News.NO_BASELINE
    now = Judged(track.now.value, track.now.error)
    error = f"measurement error ({ml(now.limit)})"
    if not track.is_excess:
        return Clause(news, f"{track.limb} measures {ml(now.value)}, {error}")
    if not now.beyond_error:
        return Clause(news, f"{track.limb} differs from the other by no more than {error}")
    more = "more" if now.value > 0 else "less"
    text = f"{track.limb} holds {ml(abs(now.value))} {more} than the other, beyond {error}"
    return Clause(news, text)


def clauses(summary: ProgressSummary) -> list[Clause]:
    """One clause for each track of each limb, most pressing first."""
    last = summary.kind.compared_with
    found = [
        clause(replace(track, compared_with=last))
        for numbers in summary.limbs
        for track in tracks(numbers)
    ]
    return sorted(found, key=lambda each: list(News).index(each.news))


def bottom_line(summary: ProgressSummary) -> str:
    """The sentence that matters, at most 300 characters: the most pressing clauses that fit."""
    return opening_line(summary, _action(summary))


def opening_line(summary: ProgressSummary, action: str) -> str:
    """How the limbs are, as many clauses as fit before `action`."""
    found = clauses(summary)
    for count in range(len(found), 0, -1):
        line = f"{_opening(summary, found[0])}: {_joined(found[:count])}. {action}".strip()
        if len(line) <= BOTTOM_LINE_LENGTH:
            return line
    first = f"{_label(summary, found[0])}; see the numbers below." if found else "No girths taped."
    return f"{first} {action}".strip()


def _joined(found: list[Clause]) -> str:
    return "; ".join(each.text for each in found)


def _opening(summary: ProgressSummary, first: Clause) -> str:
    taped_on = max(numbers.now.taken_on for numbers in summary.limbs)
    if summary.measured_count == 0:
        return f"Not measured in this period; on {day(taped_on)}"
    return _label(summary, first)


def _label(summary: ProgressSummary, first: Clause) -> str:
    return first.news.label.format(last=summary.kind.compared_with)


def _action(summary: ProgressSummary) -> str:
    if summary.is_urgent:
        return "This needs attention now: see the box."
    if has_worsened(summary):
        return "Please see our request."
    return "No action needed from you."


def has_worsened(summary: ProgressSummary) -> bool:
    """Whether any limb or excess rose beyond measurement error."""
    return any(each.news.is_worse for each in clauses(summary))


def alerts(summary: ProgressSummary) -> tuple[str, ...]:
    """What cannot wait for a letter, one sentence each."""
    rises = tuple(
        f"The {numbers.limb.label} rose by 10 % or more in under two weeks, beyond measurement"
        " error: infection, clot and recurrence should be considered today."
        for numbers in summary.limbs
        if numbers.rose_suddenly
    )
    found = tuple(
        f"Recorded on {day(each.found_on)}: {each.precaution.label}." for each in summary.barring
    )
    return rises + found


ADHERENCE_LENGTH = 400  # of the letter's field; a longer list of places goes unsaid


def proposals(summary: ProgressSummary) -> ProposedText:
    """Text for every field from what the record holds."""
    return ProposedText(
        bottom_line=bottom_line(summary),
        treatment=_treatment(summary),
        adherence=adherence_text(summary),
        plan=plan_text(summary),
        request=request_text(summary),
    )


def _treatment(summary: ProgressSummary) -> str:
    return (
        f"{summary.phase.label.capitalize()} phase since {day(summary.phase_since_on)}."
        f" {taped_text(summary)} from {day(summary.period_from)} to {day(summary.period_to)}."
    )


def taped_text(summary: ProgressSummary) -> str:
    """ "Girths taped 3 times"."""
    counted = f"Girths taped {summary.measured_count} times"
    known = {0: "Girths not taped", 1: "Girths taped once", 2: "Girths taped twice"}
    return known.get(summary.measured_count, counted)


def adherence_text(summary: ProgressSummary) -> str:
    told = summary.adherence
    if told is None:
        return ""
    asked = "asked once" if told.times_asked == 1 else f"mean of {told.times_asked} answers"
    hard = f" Hard to do: {', '.join(told.hard_places)}." if told.hard_places else ""
    said = f"Home programme done on {told.mean_days_of_seven:.0f} of 7 days ({asked}).{hard}"
    return said if len(said) <= ADHERENCE_LENGTH else said.removesuffix(hard)


def plan_text(summary: ProgressSummary) -> str:
    if summary.phase is Phase.DISCHARGED:
        return "Treatment here has ended and self-care continues. Please refer again if it swells."
    if summary.barring:
        return "Treatment waits until the finding in the box has been examined and settled."
    goes_on = {
        Phase.SURVEILLANCE: "Surveillance continues.",
        Phase.INTENSIVE: "Intensive treatment continues until the volume is steady; then garments"
        " are fitted and maintenance begins.",
        Phase.MAINTENANCE: "Maintenance with garments and home programme continues.",
    }[summary.phase]
    goes_on = " ".join([goes_on, *plateau_sentences(summary)])
    if has_worsened(summary):
        return f"{goes_on} Because of the rise the plan of care is reviewed and girths come sooner."
    due_on = next_girths_on(summary)
    return f"{goes_on} Next girths due by {day(due_on)}." if due_on else goes_on


def plateau_sentences(summary: ProgressSummary) -> list[str]:
    """Where the intensive phase is heading, a short sentence a limb; an estimate, and said so."""
    return [
        _plateau(numbers, plateau)
        for numbers in summary.limbs
        for plateau in numbers.plateaus
        if plateau.value_ml is not None or summary.phase is Phase.INTENSIVE
    ]


def _plateau(numbers: LimbNumbers, plateau: Plateau) -> str:
    limb = f"the {plateau.side.label} {numbers.limb.label}"
    name = f"The excess of {limb}" if plateau.is_excess else f"The volume of {limb}"
    if plateau.value_ml is None or plateau.within_on is None:
        return f"{name}: too early to tell where it will settle."
    verb = "approached" if plateau.ended_on else "is approaching"
    since = "since" if plateau.is_reached else "expected from"
    return (
        f"{name} {verb} an estimated {ml(plateau.value_ml)} ({ml(plateau.low_ml)} to"
        f" {ml(plateau.high_ml)}); change within measurement error {since} about"
        f" {day(plateau.within_on)}."
    )


def next_girths_on(summary: ProgressSummary) -> date | None:
    """When girths are due again, never before the day it is written; None without a next time."""
    interval = measured_again_after(summary.phase, summary.every_months)
    if interval is None or not summary.limbs:
        return None
    due_on: date = max(numbers.now.taken_on for numbers in summary.limbs) + interval
    return max(due_on, summary.written_on)


def request_text(summary: ProgressSummary) -> str:
    if summary.is_urgent:
        return "Please examine the client without delay and tell us when treatment may go on."
    if has_worsened(summary):
        return (
            "Please tell us whether you see a reason for the rise, such as recurrence, infection"
            " or clot, and whether it needs examination or imaging."
        )
    return "No action needed from you."
