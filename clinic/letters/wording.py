"""The words of a letter, from its numbers. No database, no clock.

Written for a reader with twenty seconds: first better, same or worse, one number, how sure, and
whether anything is asked. Classify first, round last: every verdict comes from unrounded values.
A proposal only: the therapist edits it, and the licensed clinician decides.
"""

from dataclasses import dataclass
from datetime import date

from clinic.common.templatetags.units import bare_ml, ml
from clinic.common.vocabulary import Phase
from clinic.letters.clauses import Clause, News, clauses, clauses_of_the_whole_course, day, joined
from clinic.letters.kinds import LetterKind
from clinic.letters.story import is_gap, is_level, opening, story_of
from clinic.letters.story_words import Story
from clinic.letters.summary import LimbNumbers, Plateau, ProgressSummary
from clinic.scheduling.recalls import measured_again_after

BOTTOM_LINE_LENGTH = 300  # as the model
REFER_AGAIN = "Please refer again if swelling returns or increases."


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
    found, then = _told(summary), f"{_untaped(summary)} {action}".strip()
    for count in range(len(found), 0, -1):
        line = f"{_opening(summary, found[0])}: {joined(found[:count])}. {then}".strip()
        if len(line) <= BOTTOM_LINE_LENGTH:
            return line
    if found:
        return f"{_label(summary, found[0])}; see the numbers below. {then}".strip()
    return then if summary.untaped else f"Not measured. {action}".strip()


def _untaped(summary: ProgressSummary) -> str:
    """What is swollen must not be taken for the limb that is watched beside it."""
    if not summary.untaped or not all(numbers.is_at_risk for numbers in summary.limbs):
        return ""
    return f"Swelling not measurable by tape: {', '.join(summary.untaped)}."


def _told(summary: ProgressSummary) -> list[Clause]:
    """At the end of an episode what it came to, unless that would hide that it is worse."""
    found = clauses(summary)
    if summary.kind is not LetterKind.LETTER or summary.phase is not Phase.DISCHARGED:
        return found
    whole = clauses_of_the_whole_course(summary)
    return found if any(each.news.is_worse for each in [*found, *whole]) else whole


def _opening(summary: ProgressSummary, first: Clause) -> str:
    label = _label(summary, first)
    if summary.measured_count or is_gap(summary) or _own_opening(summary):
        return label
    return f"Not measured in this period. {label}"


def _label(summary: ProgressSummary, first: Clause) -> str:
    """Better, same or worse; in a letter after what it is about. Early swelling is worse."""
    said = _own_opening(summary)
    if said and story_of(summary) is Story.EARLY_DETECTION:
        day_told = "" if summary.measured_count else f"; measured on {day(_taped_on(summary))}"
        return f"{said}{day_told}"
    return f"{said}. {_news(summary, first)}" if said else _news(summary, first)


def _news(summary: ProgressSummary, first: Clause) -> str:
    """With its day where that is not of the period, or lies before what paused the treatment."""
    news = first.news.label.format(last=summary.kind.compared_with)
    if summary.measured_count and all(
        found.found_on <= _taped_on(summary) for found in summary.barring
    ):
        return news
    joint = ", as measured on" if first.news in NAMES_BASELINE else " on"
    return f"{news}{joint} {day(_taped_on(summary))}"


# After these "on 5 Mar" would be the day of the baseline.
NAMES_BASELINE = {News.WORSE_THAN_BASELINE, News.BETTER_THAN_BASELINE, News.NO_BASELINE}


def _taped_on(summary: ProgressSummary) -> date:
    return max(numbers.now.taken_on for numbers in summary.limbs)


def _own_opening(summary: ProgressSummary) -> str:
    return opening(summary) if summary.kind is LetterKind.LETTER else ""


def _action(summary: ProgressSummary) -> str:
    if summary.is_urgent:
        return "This needs attention now: see the box."
    if has_worsened(summary) or is_gap(summary):
        return "Please see below what we ask of you."
    if rose := rises_of_both(summary):
        return f"{rose[0]} since the session before: please see below what we ask of you."
    return "No action needed from you."


def rises_of_both(summary: ProgressSummary) -> tuple[str, ...]:
    """ "Both arms rose": whatever the difference between them, the body may hold more fluid."""
    return tuple(
        f"Both {numbers.limb.label}s rose" for numbers in summary.limbs if numbers.rose_together
    )


def has_worsened(summary: ProgressSummary) -> bool:
    """Whether any limb or excess rose beyond measurement error."""
    return any(each.news.is_worse for each in clauses(summary))


def alerts(summary: ProgressSummary) -> tuple[str, ...]:
    """What cannot wait for a letter, one sentence each."""
    rises = tuple(
        f"{_risen(numbers)} rose by 10 % or more in under two weeks, beyond measurement"
        f" error: infection, clot and {_growth(summary)} should be considered today."
        for numbers in summary.limbs
        if numbers.rose_suddenly
    )
    found = tuple(
        f"Recorded on {day(each.found_on)}: {each.precaution.label}." for each in summary.barring
    )
    return rises + found


def _risen(numbers: LimbNumbers) -> str:
    side, limb = numbers.affected_side, numbers.limb.label
    return f"The {side.label} {limb}" if side else f"One {limb} or both"


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
    return " ".join([phase, *pause_sentences(summary), taped])


MOST_PAUSES = 3  # for the length of the field


def pause_sentences(summary: ProgressSummary) -> list[str]:
    """What barred treatment in the period and is over: the latest."""
    return [
        f"Paused from {day(each.found_on)} to {day(each.cleared_on)}: {each.precaution.label},"
        " settled since."
        for each in summary.pauses[-MOST_PAUSES:]
    ]


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
    about = "" if told.mean_days_of_seven.is_integer() else "about "
    days = f"{about}{told.mean_days_of_seven:.0f} of 7 days"
    said = f"Home programme done on {days} ({asked}).{hard}"
    return said if len(said) <= ADHERENCE_LENGTH else said.removesuffix(hard)


def plan_text(summary: ProgressSummary) -> str:
    if summary.phase is Phase.DISCHARGED:
        return f"Treatment here has ended and self-care continues. {REFER_AGAIN}"
    if summary.is_urgent:
        watched = summary.phase is Phase.SURVEILLANCE
        goes_on = "Surveillance goes on once" if watched else "Treatment waits until"
        return f"{goes_on} the finding in the box has been examined and settled."
    goes_on = {
        Phase.SURVEILLANCE: "Surveillance continues.",
        Phase.INTENSIVE: _intensive(summary),
        Phase.MAINTENANCE: "Maintenance with garments and home programme continues.",
    }[summary.phase]
    if has_worsened(summary):  # where a rising volume settles is not foretold
        return (
            f"{goes_on} Because of the rise the plan of care is reviewed and the next measurement"
            " comes sooner."
        )
    goes_on = " ".join([goes_on, *plateau_sentences(summary)])
    due_on = None if is_gap(summary) else next_girths_on(summary)
    return f"{goes_on} {_due(summary, due_on)}" if due_on else goes_on


def _due(summary: ProgressSummary, due_on: date) -> str:
    if due_on <= summary.written_on:
        return "The next measurement is due now."
    return f"Next measurement due by {day(due_on)}."


def _intensive(summary: ProgressSummary) -> str:
    if is_gap(summary):
        return "Intensive treatment goes on once the client is back and measured again."
    rises = any(each.news is News.WORSE for each in clauses(summary))
    if is_level(summary) and not rises:
        return "The volume has levelled off: garments and maintenance are considered next."
    return (
        "Intensive treatment continues until the swelling is steady; then garments are fitted and"
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
    verb, then = _reached(plateau, day(plateau.within_on))
    between = f"{bare_ml(plateau.low_ml)} to {ml(plateau.high_ml)}"
    return f"{name} {verb} an estimated {ml(plateau.value_ml)} (95 % range {between}), {then}."


def _reached(plateau: Plateau, within_on: str) -> tuple[str, str]:
    """What the volume does or did, and whether it is steady."""
    steady = f"steady within measurement error since about {within_on}"
    if plateau.ended_on:
        return "approached", steady if plateau.is_reached else "not yet steady at the phase's end"
    if plateau.is_reached:
        return "has settled near", steady
    return "is approaching", f"expected to be steady from about {within_on}"


def next_girths_on(summary: ProgressSummary) -> date | None:
    """When girths are due again, never before the day it is written; None without a next time."""
    interval = measured_again_after(summary.phase, summary.every_months)
    if interval is None or not summary.limbs:
        return None
    due_on: date = max(numbers.now.taken_on for numbers in summary.limbs) + interval
    return max(due_on, summary.written_on)


def request_text(summary: ProgressSummary) -> str:
    if summary.is_urgent and summary.phase in {Phase.DISCHARGED, Phase.SURVEILLANCE}:
        return "Please examine the client without delay and tell us what you find."
    if summary.is_urgent:
        return "Please examine the client without delay and tell us when treatment may go on."
    if has_worsened(summary):
        return (
            f"Please tell us whether you see a reason for the rise, such as {_growth(summary)},"
            " infection or clot, and whether it needs examination or imaging."
        )
    if rose := rises_of_both(summary):
        # A cause in the whole body: from memory, not re-read; the examples are common practice.
        return (
            f"{' and '.join(rose)} beyond measurement error since the session before. Please tell"
            " us whether you see a cause in the whole body, such as weight, heart, kidneys or a"
            " medicine."
        )
    if is_gap(summary):
        return "Please tell us if you know why treatment stopped, and ask the client to call us."
    return "No action needed from you."


def _growth(summary: ProgressSummary) -> str:
    """Nothing recurs where the record tells of no cancer, as in lymphedema from birth."""
    return "recurrence" if summary.cancer_treatment else "tumour"
