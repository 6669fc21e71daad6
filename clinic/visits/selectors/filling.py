"""The client's own numbers for the clinic's phrases, written out with unit and error."""

from collections.abc import Mapping, Sequence
from datetime import date

from django.utils.formats import date_format

from clinic.common.templatetags.units import ml, percent, signed_ml, signed_percent, weight
from clinic.scheduling.selectors.cards import BookingCard
from clinic.visits.desk import LastNote, PhraseOffered, RegionDesk, SectionDesk, TreatmentDesk
from clinic.visits.lists import Phrase
from clinic.visits.models import VisitNote
from clinic.visits.phrases import fill
from clinic.visits.plan_dates import PlanStanding
from clinic.visits.words import Section
from measurements.limb.error import Z_95
from measurements.report import LimbCourse, SessionReport, Since

Values = dict[str, str | None]


def section_desks(
    note: VisitNote, phrases: Sequence[Phrase], values: Mapping[str, str | None]
) -> tuple[SectionDesk, ...]:
    """Each written part with its phrases, in the order of the page."""
    return tuple(
        SectionDesk(
            section=section,
            text=getattr(note, section.value),
            is_copied=section.value in note.copied,
            phrases=tuple(
                PhraseOffered(each.pk, each.name, fill(each.text, values))
                for each in phrases
                if each.section == section
            ),
        )
        for section in Section
    )


def visit_values(
    note: VisitNote, treatment: TreatmentDesk, last: LastNote | None, booking: BookingCard | None
) -> Values:
    """What the visit itself says. No query beyond what the note has joined."""
    count, episode = treatment.count, note.episode
    referrer = episode.referrer or episode.client.referrer
    return {
        "given_name": episode.client.given_name,
        "minutes": _minutes(count.treatment_min),
        "timed_minutes": _minutes(count.timed_min),
        "visited_on": day(note.visited_on),
        "last_visited_on": day(last.visited_on) if last else None,
        "next_on": day(booking.starts_at.date()) if booking else None,
        "referrer": str(referrer) if referrer else None,
        "therapist": note.therapist.signature,
    }


def record_values(regions: Sequence[RegionDesk], courses: Sequence[LimbCourse]) -> Values:
    """What was taped and found last, of the limb taped last."""
    latest = max(
        (course.latest for course in courses), key=lambda each: each.facts.taken_on, default=None
    )
    looks = [each.latest for each in regions if each.latest]
    values: Values = (
        {"stage": max(looks, key=lambda look: look.found_on).stage.label} if looks else {}
    )
    return values | (report_values(latest) if latest else {})


def report_values(report: SessionReport) -> Values:
    facts, compared, volume = report.facts, report.comparison, report.affected
    side = report.affected_side
    return {
        "limb": f"{side.label} {facts.limb.label}" if side else None,
        "measured_on": day(facts.taken_on),
        "volume_ml": _with_error(ml(volume.ml), volume.error_ml) if volume else None,
        "excess_ml": _with_error(ml(compared.excess_ml), compared.excess_error_ml)
        if compared
        else None,
        "excess_percent": percent(compared.excess_percent) if compared else None,
        "weight_kg": weight(facts.weight_kg) if facts.weight_kg else None,
        "relative_change": signed_percent(report.relative_change.value)
        if report.relative_change
        else None,
        **_since_values(report.since_baseline, "change", "baseline_on"),
        **_since_values(report.since_previous, "change_last", "previous_on"),
    }


def standing_values(standing: PlanStanding | None) -> Values:
    if standing is None:
        return {}
    due_on, certified = standing.report.due_on, standing.certification
    return {
        "treatment_day": str(standing.treatment_days),
        "report_due_on": day(due_on) if due_on else None,
        "certified_until_on": day(certified.last_on) if certified else None,
    }


def _since_values(since: Since | None, change: str, on: str) -> Values:
    if since is None:
        return {}
    excess = since.excess
    told = _with_error(signed_ml(excess.change_ml), excess.error_ml) if excess else None
    return {change: told, on: day(since.taken_on)}


def _with_error(text: str, error_ml: float) -> str:
    return f"{text} ± {ml(Z_95 * error_ml)}"


def _minutes(minutes: int) -> str | None:
    return str(minutes) if minutes else None


def day(on: date) -> str:
    """As pages write a day."""
    return date_format(on, "j F Y")
