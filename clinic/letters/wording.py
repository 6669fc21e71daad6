"""The words of a letter, from its numbers. No database, no clock.

Written for a reader with twenty seconds: first better, same or worse, one number, how sure, and
whether anything is asked. Classify first, round last: every verdict comes from unrounded values.
A proposal only: the therapist edits it, and the licensed clinician decides.
"""

from dataclasses import dataclass
from datetime import date

from clinic.common.templatetags.units import ml
from clinic.common.vocabulary import Phase
from clinic.letters.clauses import Clause, clauses, clauses_of_the_whole_course, day, joined
from clinic.letters.kinds import LetterKind
from clinic.letters.story import is_gap, is_level, opening, story_of
from clinic.letters.story_words import Story
from clinic.letters.summary import LimbNumbers, Plateau, ProgressSummary
from clinic.scheduling.recalls import measured_again_after

BOTTOM_LINE_LENGTH = 300  # as the model


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


def bottom_line(summary: ProgressSummary) -> str:
    """The sentence that matters, at most 300 characters: the most pressing clauses that fit."""
    return opening_line(summary, _action(summary))


def opening_line(summary: ProgressSummary, action: str) -> str:
    """How the limbs are, as many clauses as fit before `action`."""
    found = _told(summary)
    for count in range(len(found), 0, -1):
        line = f"{_opening(summary, found[0])}: {joined(found[:count])}. {action}".strip()
        if len(line) <= BOTTOM_LINE_LENGTH:
            return line
    first = f"{_label(summary, found[0])}; see the numbers below." if found else "Not measured."
    return f"{first} {action}".strip()


def _told(summary: ProgressSummary) -> list[Clause]:
    """At the end of an episode what it came to, unless that would hide that it is worse."""
    found = clauses(summary)
    if summary.kind is not LetterKind.LETTER or summary.phase is not Phase.DISCHARGED:
        return found
    whole = clauses_of_the_whole_course(summary)
    return found if any(each.news.is_worse for each in [*found, *whole]) else whole


def _opening(summary: ProgressSummary, first: Clause) -> str:
    taped_on = max(numbers.now.taken_on for numbers in summary.limbs)
    if summary.measured_count == 0 and not is_gap(summary):
        said = _own_opening(summary)
        return f"{said}; last measured on {day(taped_on)}" if said else _unmeasured(taped_on)
    return _label(summary, first)


def _unmeasured(taped_on: date) -> str:
    return f"Not measured in this period; on {day(taped_on)}"


def _label(summary: ProgressSummary, first: Clause) -> str:
    """Better, same or worse; in a letter after what it is about. Early swelling is worse."""
    said, news = _own_opening(summary), first.news.label.format(last=summary.kind.compared_with)
    if said and story_of(summary) is Story.EARLY_DETECTION:
        return said
    return f"{said}. {news}" if said else news


def _own_opening(summary: ProgressSummary) -> str:
    return opening(summary) if summary.kind is LetterKind.LETTER else ""


def _action(summary: ProgressSummary) -> str:
    if summary.is_urgent:
        return "This needs attention now: see the box."
    if has_worsened(summary):
        return "Please see below what we ask of you."
    return "No action needed from you."


def has_worsened(summary: ProgressSummary) -> bool:
    """Whether any limb or excess rose beyond measurement error."""
    return any(each.news.is_worse for each in clauses(summary))


def alerts(summary: ProgressSummary) -> tuple[str, ...]:
    """What cannot wait for a letter, one sentence each."""
    rises = tuple(
        f"The {numbers.limb.label} rose by 10 % or more in under two weeks, beyond measurement"
        f" error: infection, clot and {_growth(summary)} should be considered today."
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
    since = day(summary.phase_since_on)
    phase = f"{summary.phase.label.capitalize()} phase since {since}."
    if summary.phase is Phase.DISCHARGED:
        phase = f"Treatment here ended on {since}."
    taped = f"{taped_text(summary)} from {day(summary.period_from)} to {day(summary.period_to)}."
    return f"{phase} {taped}"


def taped_text(summary: ProgressSummary) -> str:
    """ "Measured by tape 3 times"; a reader elsewhere does not say girths."""
    counted = f"Measured by tape {summary.measured_count} times"
    known = {0: "Not measured", 1: "Measured by tape once", 2: "Measured by tape twice"}
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
    if summary.is_urgent:
        return "Treatment waits until the finding in the box has been examined and settled."
    goes_on = {
        Phase.SURVEILLANCE: "Surveillance continues.",
        Phase.INTENSIVE: _intensive(summary),
        Phase.MAINTENANCE: "Maintenance with garments and home programme continues.",
    }[summary.phase]
    goes_on = " ".join([goes_on, *plateau_sentences(summary)])
    if has_worsened(summary):
        return (
            f"{goes_on} Because of the rise the plan of care is reviewed and the next measurement"
            " comes sooner."
        )
    due_on = None if is_gap(summary) else next_girths_on(summary)
    return f"{goes_on} Next measurement due by {day(due_on)}." if due_on else goes_on


def _intensive(summary: ProgressSummary) -> str:
    if is_gap(summary):
        return "Intensive treatment goes on once the client is back and measured again."
    if is_level(summary):
        return "The volume has levelled off: garments and maintenance are considered next."
    return (
        "Intensive treatment continues until the volume is steady; then garments are fitted and"
        " maintenance begins."
    )


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
    if summary.is_urgent and summary.phase is Phase.DISCHARGED:
        return "Please examine the client without delay and tell us what you find."
    if summary.is_urgent:
        return "Please examine the client without delay and tell us when treatment may go on."
    if has_worsened(summary):
        return (
            f"Please tell us whether you see a reason for the rise, such as {_growth(summary)},"
            " infection or clot, and whether it needs examination or imaging."
        )
    return "No action needed from you."


def _growth(summary: ProgressSummary) -> str:
    """Nothing recurs where the record tells of no cancer, as in lymphedema from birth."""
    return "recurrence" if summary.cancer_treatment else "tumour"
