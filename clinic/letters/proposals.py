"""The words that a report and a discharge summary begin with, from their numbers.

A proposal only, as for letters: the therapist edits it. Why skilled care is still needed is the
therapist's to say; nothing is proposed for it.
"""

from datetime import date

from clinic.common.vocabulary import Phase
from clinic.letters.care import Care, Ending, plural
from clinic.letters.clauses import day
from clinic.letters.summary import ProgressSummary
from clinic.letters.wording import (
    REFER_AGAIN,
    ProposedText,
    adherence_text,
    bottom_line,
    has_worsened,
    next_girths_on,
    opening_line,
    pause_sentences,
    plan_text,
    proposals,
    request_text,
    rises_of_both,
    taped_text,
)
from clinic.scheduling.recalls import measured_again_after

LONGEST_RESPONSE, LONGEST_SELF_CARE = 600, 800  # of the fields

# Common practice, no source.
COME_BACK = (
    "The client is asked to come back sooner if the limb swells, hardens, aches or feels heavy for"
    " more than a week, or if a garment no longer fits, and to see a doctor the same day for"
    " redness, heat, fever or sudden swelling."
)


def proposed_texts(summary: ProgressSummary) -> ProposedText:
    """Text for every field of the kind from what the record holds."""
    if summary.care is None:
        return proposals(summary)
    if summary.ending is None:
        return _report(summary, summary.care)
    return _discharge(summary, summary.care, summary.ending)


def proposed_line(summary: ProgressSummary) -> str:
    """The sentence that matters, as the record would say it today."""
    if summary.care is None:
        return bottom_line(summary)
    urgent = "This needs attention now: see the box." if summary.is_urgent else ""
    return opening_line(summary, f"{summary.care.goals_in_words} {urgent}".strip())


def _report(summary: ProgressSummary, care: Care) -> ProposedText:
    return ProposedText(
        bottom_line=proposed_line(summary),
        treatment=_treated(summary, f"{_days(care)}."),
        adherence="",
        plan=plan_text(summary),
        response=_latest_response(care),
    )


def _discharge(summary: ProgressSummary, care: Care, ending: Ending) -> ProposedText:
    missed = f"; {plural(ending.missed, 'visit')} missed or cancelled late" if ending.missed else ""
    return ProposedText(
        bottom_line=proposed_line(summary),
        treatment=_treated(summary, f"{_days(care)}{missed}."),
        adherence=adherence_text(summary),
        plan=f"{recall_text(summary, ending)} {COME_BACK}",
        request=_asked(summary),
        self_care=_self_care(ending),
    )


def _treated(summary: ProgressSummary, days: str) -> str:
    return " ".join([days, *pause_sentences(summary), f"{taped_text(summary)}."])


def _days(care: Care) -> str:
    """ "8 treatment days from 4 Mar 2026 to 20 Mar 2026, 18 since the episode was opened"."""
    given = care.given
    if given.first_on is None or given.last_on is None:
        return "No treatment day in this period"
    when = f"from {day(given.first_on)} to {day(given.last_on)}"
    if given.first_on == given.last_on:
        when = f"on {day(given.first_on)}"
    in_all = f", {given.days_in_all} since the episode was opened"
    more = in_all if given.days_in_all > given.days else ""
    return f"{plural(given.days, 'treatment day')} {when}{more}"


def _latest_response(care: Care) -> str:
    """The therapist's own words from the last signed note that has any."""
    return care.given.responses[-1][:LONGEST_RESPONSE] if care.given.responses else ""


def recall_text(summary: ProgressSummary, ending: Ending) -> str:
    """When the client is measured again."""
    if ending.booked_on is not None:
        return f"Next visit booked for {day(ending.booked_on)}."
    due_on = recall_on(summary)
    if due_on is None:
        return "No date is set for re-measurement."
    if due_on <= summary.written_on:
        return "Re-measurement is due now."
    return f"To be measured again by {day(due_on)}."


def recall_on(summary: ProgressSummary) -> date | None:
    """The next girths; after discharge only where months between them were kept."""
    if summary.phase is not Phase.DISCHARGED or summary.every_months is None:
        return next_girths_on(summary)
    interval = measured_again_after(Phase.MAINTENANCE, summary.every_months)
    if interval is None or not summary.limbs:
        return None
    due_on: date = max(numbers.now.taken_on for numbers in summary.limbs) + interval
    return max(due_on, summary.written_on)


def _self_care(ending: Ending) -> str:
    """The home programme in hand and the schedule of wear, on as few lines as possible."""
    held = ending.programme
    programme = (
        f"Home programme {held.number}, given on {day(held.issued_on)},"
        f" {TIMES.get(held.times_a_day, f'{held.times_a_day} times')} a day."
        if held
        else "No home programme in hand."
    )
    worn = " ".join(ending.wear_schedule.split())
    told = f"{programme} Told to the client: {worn}" if worn else programme
    return told[:LONGEST_SELF_CARE]


TIMES = {1: "once", 2: "twice"}


def _asked(summary: ProgressSummary) -> str:
    if summary.is_urgent or has_worsened(summary) or rises_of_both(summary):
        return request_text(summary)
    return f"{REFER_AGAIN} No other action needed from you."
