"""The services and phrases a new clinic begins with. Common practice, no source; the lead edits.

Codes are those that lymphedema care usually goes under in the United States; the names are our
own words and not those of any code book.
"""

from datetime import date
from typing import Any

IN_USE_FROM = date(2020, 1, 1)

# Code, short name, counted by its minutes.
SERVICES = (
    ("97140", "hands-on drainage", True),
    ("97535", "teaching for home", True),
    ("97110", "exercise", True),
    ("97112", "balance and coordination", True),
    ("97116", "walking", True),
    ("97760", "fitting and use of a garment or splint", True),
    ("97035", "ultrasound", True),
    ("97016", "pump", False),
    ("EVAL", "evaluation", False),
)

# Section, name, text with blanks.
PHRASES = (
    ("subjective", "As last time", "No change noticed since {last_visited_on}."),
    ("subjective", "Lighter", "The {limb} feels lighter than on {last_visited_on}."),
    ("observations", "Today's taping",
     "Taped {measured_on}: excess {excess_ml} ({excess_percent}), {change_last} since"
     " {previous_on}, {change} since {baseline_on}."),
    ("observations", "Skin sound", "Skin of the {limb} intact, no redness, no warmth."),
    ("response", "Well tolerated", "{minutes} minutes of treatment, well tolerated."),
    ("response", "Softer", "Tissue of the {limb} softer at the end of treatment."),
    ("plan", "Go on", "Go on as planned in the {phase} phase. Next visit {next_on}."),
    ("plan", "Report due", "Progress report to {referrer} due by {report_due_on}."),
)  # fmt: skip


def add_lists(service: Any, phrase: Any) -> None:
    """Put the presets on empty lists; both are models, as a migration knows them."""
    if not service.objects.exists():
        service.objects.bulk_create(
            service(code=code, name=name, is_timed=is_timed, active_from=IN_USE_FROM)
            for code, name, is_timed in SERVICES
        )
    if not phrase.objects.exists():
        phrase.objects.bulk_create(
            phrase(section=section, name=name, text=text) for section, name, text in PHRASES
        )
