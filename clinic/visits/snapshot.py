"""The content of a signed note: its own columns, and what the page showed, as plain values.

Numbers that are not whole are written out as on the page, with unit and error, so that no later
fix of a formula can touch them. The first three parts repeat the stored rows column for column:
`visits.verify` compares them, so a row altered behind the triggers' back is found.
"""

from collections.abc import Iterable, Iterator
from datetime import UTC, date, datetime
from typing import Any

from clinic.accounts.models import Practice, User
from clinic.clients.diagnoses import DIAGNOSES
from clinic.common.templatetags.units import ml, percent, signed_ml, signed_percent, weight
from clinic.visits.desk import RedFlagDesk, RegionDesk, TreatmentDesk, VisitDesk
from clinic.visits.models import Addendum, RedFlagSeen, TreatmentEntry, VisitNote
from clinic.visits.red_flags import Sign
from clinic.visits.selectors.filling import day
from measurements.limb.comparison import Change
from measurements.limb.error import Z_95
from measurements.report import SessionReport

CONTENT_VERSION = 1

# Every column of the note that is settled when it is signed. The seal itself and the
# co-signature come after; `signed` is this content.
NOTE_COLUMNS = (
    "id",
    "episode_id",
    "appointment_id",
    "kind",
    "visited_on",
    "visit_min",
    "therapist_id",
    "subjective",
    "observations",
    "response",
    "plan",
    "copied_from_id",
    "copied",
    "precautions_asked_id",
    "signs",
    "revision",
    "begun_by_id",
    "begun_at",
    "edited_by_id",
    "edited_at",
    "signed_at",
    "signed_by_id",
    "signature",
    "is_late_entry",
    "needs_cosignature",
)
TREATMENT_COLUMNS = ("id", "place", "service_id", "minutes", "remark")
RED_FLAG_COLUMNS = ("id", "kind", "because", "action", "seen_by_id", "seen_at")
ADDENDUM_COLUMNS = ("note_id", "text", "written_by_id", "signature", "written_at")
COSIGNATURE_COLUMNS = ("id", "seal", "cosigned_by_id", "cosigned_at", "cosignature")


# Rows as they are stored


def columns_of(row: Any, names: Iterable[str]) -> dict[str, Any]:
    """Stored columns as plain values: days and moments in ISO 8601 (UTC), ids as text."""
    return {name: _plain(getattr(row, name)) for name in names}


def _plain(value: object) -> object:
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat()
    if isinstance(value, date):
        return value.isoformat()
    if value is None or isinstance(value, bool | int | list | dict):
        return value
    return str(value)


def stored_rows(
    note: VisitNote, treatments: Iterable[TreatmentEntry], red_flags: Iterable[RedFlagSeen]
) -> dict[str, Any]:
    """What is compared with the database when seals are verified."""
    return {
        "note": columns_of(note, NOTE_COLUMNS),
        "treatments": [columns_of(one, TREATMENT_COLUMNS) for one in _in_order(treatments)],
        "red_flags": [columns_of(one, RED_FLAG_COLUMNS) for one in _in_order(red_flags)],
    }


def _in_order(rows: Iterable[Any]) -> list[Any]:
    return sorted(rows, key=lambda row: row.pk)


def addendum_content(addendum: Addendum) -> dict[str, Any]:
    return columns_of(addendum, ADDENDUM_COLUMNS)


def cosignature_content(note: VisitNote) -> dict[str, Any]:
    """Who stands behind another's note, bound to its seal."""
    return columns_of(note, COSIGNATURE_COLUMNS)


# What the page showed


def note_content(desk: VisitDesk, practice: Practice) -> dict[str, Any]:
    """The whole content to be sealed. The desk's note has its signing columns filled."""
    note = desk.note
    treatments = note.treatments.all()
    return {
        "version": CONTENT_VERSION,
        **stored_rows(note, treatments, note.red_flags.all()),
        "regions": [[each.region.region, each.region.side] for each in desk.regions],
        "shown": shown_content(desk, practice, note.therapist),
    }


def shown_content(desk: VisitDesk, practice: Practice, therapist: User) -> dict[str, Any]:
    """What a reader sees beside the note's own words."""
    return {
        "practice": practice.name,
        "client": {
            "name": desk.card.name,
            "record_number": desk.card.record_number,
            "born_on": desk.card.born_on.isoformat(),
        },
        "diagnosis": _diagnosis(desk.episode.diagnosis),
        "phase": f"{desk.phase.label} since {day(desk.phase_since_on)}",
        "kind": desk.note.get_kind_display(),
        "therapist": therapist.signature,
        "treatments": _treatments(desk.treatment),
        "timing": _timing(desk.treatment),
        "red_flags": [_red_flag(each) for each in desk.red_flags if each.is_acknowledged],
        "blocks": [{"title": title, "lines": lines} for title, lines in _blocks(desk) if lines],
    }


def _diagnosis(code: str) -> str:
    return f"{code} {DIAGNOSES.get(code, '')}".strip()


def _treatments(treatment: TreatmentDesk) -> list[dict[str, Any]]:
    names = ("code", "name", "is_timed", "minutes", "units", "remark")
    return [columns_of(line, names) for line in treatment.lines]


def _timing(treatment: TreatmentDesk) -> dict[str, Any]:
    count = treatment.count
    return {
        "rule": treatment.rule.label,
        "timed_min": count.timed_min,
        "treatment_min": count.treatment_min,
        "timed_units": count.timed_units,
        "total_units": count.total_units,
        "explanation": list(treatment.explanation),
        "warnings": [each.sentence for each in treatment.warnings],
    }


def _red_flag(shown: RedFlagDesk) -> dict[str, Any]:
    return {
        "label": shown.flag.kind.label,
        "because": "; ".join(shown.flag.because),
        "action": shown.action,
        "seen_by": shown.seen_by,
        "seen_at": _plain(shown.seen_at),
    }


def _blocks(desk: VisitDesk) -> Iterator[tuple[str, list[str]]]:
    yield "Precautions", list(_precautions(desk))
    yield "Readings", [line for report in desk.measured_today for line in reading_lines(report)]
    yield "Findings and stage", [line for region in desk.regions for line in _finding(region)]
    yield "Signs seen", [sign.label for sign in Sign if sign in desk.signs]
    yield "Home programme", list(_adherence(desk))
    yield "Plan of care", list(_care(desk))
    yield "Next booking", list(_next(desk))


def _precautions(desk: VisitDesk) -> Iterator[str]:
    review = desk.precautions.review
    if review is not None:
        yield f"Asked on {day(review.asked_on)} by {review.asked_by.signature}."
        if review.note:
            yield review.note
    for effect in desk.precautions.effects.standing:
        yield f"{effect.precaution.label}: {effect.reason}"


def reading_lines(report: SessionReport) -> Iterator[str]:
    """One session in sentences; ± is the 95 % measurement error."""
    facts, compared = report.facts, report.comparison
    yield f"{facts.limb.label} by the protocol “{facts.protocol}”, taped by {facts.taken_by}."
    for side, volume, change in report.limbs:
        told = f"{side.label}: {ml(volume.ml)} ± {ml(Z_95 * volume.error_ml)}"
        since = (
            f", {signed_ml(change.change_ml)} since baseline, {_judged(change)}" if change else ""
        )
        yield f"{told}{since}."
    if compared is not None:
        yield (
            f"Excess: {ml(compared.excess_ml)} ± {ml(Z_95 * compared.excess_error_ml)}"
            f" ({signed_percent(compared.excess_percent)}), {compared.verdict.label}."
        )
    if facts.weight_kg is not None:
        yield f"Weight: {weight(facts.weight_kg)}."
    yield from (caution.label for caution in report.cautions)
    yield f"Method: {report.method}."


def _judged(change: Change) -> str:
    """What the tape says; in bilateral disease also what body weight makes of it."""
    says, by_weight = change.weight_says, change.by_weight
    if says is None or by_weight is None:
        return change.verdict.label
    if by_weight.adjusted is None:
        return f"{change.verdict.label} ({says.label})"
    adjusted = by_weight.adjusted
    return (
        f"{change.verdict.label}, {says.label} (weight {signed_percent(by_weight.weight_percent)},"
        f" adjusted {signed_percent(adjusted.value)} ± {percent(adjusted.limit)})"
    )


def _finding(desk: RegionDesk) -> Iterator[str]:
    look = desk.latest
    if look is None:
        return
    found = f"found on {day(look.found_on)} by {look.found_by}"
    yield f"{desk.name}: stage {look.stage.label}, {found}."
    if desk.is_today:
        yield "; ".join(f"{question}: {answer}" for question, answer in look.answers)


def _adherence(desk: VisitDesk) -> Iterator[str]:
    told = desk.adherence_today.latest
    if told is not None:
        yield f"Done on {told.days_done} of the last {desk.adherence.days_asked} days."
        if told.note:
            yield told.note


def _care(desk: VisitDesk) -> Iterator[str]:
    plan, standing = desk.care.plan, desk.care.standing
    if plan is not None:
        yield f"Plan of care {plan.number}, {day(plan.from_on)} to {day(plan.to_on)}."
    if standing is not None:
        yield f"Treatment days before this note was signed: {standing.treatment_days}."
        yield from (warning.label for warning in standing.warnings)


def _next(desk: VisitDesk) -> Iterator[str]:
    booked = desk.next_booking
    if booked is not None:
        yield f"{day(booked.starts_at.date())}, {booked.begins}, {booked.kind}, {booked.therapist}."
