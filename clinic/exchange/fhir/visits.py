"""Encounter, Procedure (treatment with its minutes), the note as a document, Provenance."""

from base64 import b64encode
from collections.abc import Iterator
from datetime import datetime
from hashlib import sha1

from clinic.exchange.fhir import pieces
from clinic.exchange.fhir.care import episode_reference
from clinic.exchange.fhir.pieces import Json, Maker
from clinic.exchange.rows import ClientRows
from clinic.visits.models import TreatmentEntry, VisitNote
from clinic.visits.plans import PlanOfCare
from clinic.visits.words import Section, VisitKind

AMBULATORY = {
    "system": "http://terminology.hl7.org/CodeSystem/v3-ActCode",
    "code": "AMB",
    "display": "ambulatory",
}
AUTHOR = pieces.hl7("provenance-participant-type", "author", "Author")
VERIFIER = pieces.hl7("provenance-participant-type", "verifier", "Verifier")


def visits(maker: Maker, rows: ClientRows) -> Iterator[Json]:
    """Every signed visit: the encounter, what was done, what was written, who signed."""
    for note in rows.notes:
        yield _encounter(maker, note)
        yield from (_treatment(maker, note, each) for each in note.treatments.all())
        yield _document(maker, note)
        yield from _signatures(maker, note)
    yield from (_plan_signature(maker, plan) for plan in rows.plans)


def encounter_reference(note: VisitNote) -> Json:
    return pieces.reference("Encounter", str(note.pk))


def _encounter(maker: Maker, note: VisitNote) -> Json:
    booked = note.appointment
    start, end = (booked.period.lower, booked.period.upper) if booked else (note.visited_on, None)
    therapist = maker.staff(note.therapist_id)
    return maker.resource(
        "Encounter",
        str(note.pk),
        status="finished",
        **{"class": AMBULATORY},
        type=[pieces.word("visit-kind", VisitKind(note.kind))],
        subject=maker.subject,
        episodeOfCare=[episode_reference(note.episode_id)],
        participant=[{"individual": therapist}],
        period=pieces.period(start, end),
        length=pieces.quantity(note.visit_min, "min") if note.visit_min else None,
        serviceProvider=maker.practice,
    )


def _treatment(maker: Maker, note: VisitNote, entry: TreatmentEntry) -> Json:
    """Minutes are known, the clock time of each service is not: so a duration, not a period.

    The clinic's own list of services is the code system: whatever codes it writes there.
    """
    service = entry.service
    return maker.resource(
        "Procedure",
        maker.id_of("treatment", entry.pk),
        extension=[
            pieces.extension("minutes", valueDuration=pieces.quantity(entry.minutes, "min"))
        ],
        status="completed",
        code=pieces.own("service", service.code, service.name),
        subject=maker.subject,
        encounter=encounter_reference(note),
        performedDateTime=note.visited_on.isoformat(),
        performer=[{"actor": maker.staff(note.therapist_id)}],
        note=pieces.note(entry.remark),
    )


# The words


def attachment(content: bytes, content_type: str, title: str) -> Json:
    """Bytes with size and SHA-1, which R4 asks for to recognise an accidental change."""
    return {
        "contentType": content_type,
        "data": b64encode(content).decode(),
        "size": len(content),
        "hash": b64encode(sha1(content, usedforsecurity=False).digest()).decode(),
        "title": title,
    }


def note_text(note: VisitNote) -> str:
    """What was written, part by part, with every addendum after it."""
    parts = [
        f"{section.label.capitalize()}\n{written}"
        for section in Section
        if (written := getattr(note, section.value))
    ]
    parts += [
        f"Red flag: {flag}. {flag.because} Done: {flag.action}" for flag in note.red_flags.all()
    ]
    parts.append(f"Signed: {note.signature}, {pieces.instant(note.signed_at)}")
    if note.cosigned_at:
        parts.append(f"Co-signed: {note.cosignature}, {pieces.instant(note.cosigned_at)}")
    parts += [
        f"Addendum, {pieces.instant(added.written_at)}, {added.signature}\n{added.text}"
        for added in note.addenda.all()
    ]
    return "\n\n".join(parts) + "\n"


def _document(maker: Maker, note: VisitNote) -> Json:
    added = list(note.addenda.all())
    written = attachment(note_text(note).encode(), "text/plain; charset=utf-8", str(note))
    return maker.resource(
        "DocumentReference",
        _document_id(note),
        identifier=[pieces.identifier("seal-sha256", note.seal)],
        status="current",
        docStatus="amended" if added else "final",
        type=pieces.own("document", "visit-note", "visit note"),
        subject=maker.subject,
        date=pieces.instant(note.signed_at),
        author=maker.staff_list([note.signed_by_id]),
        custodian=maker.practice,
        content=[{"attachment": written}],
        context={"encounter": [encounter_reference(note)]},
    )


def _document_id(note: VisitNote) -> str:
    return pieces.id_of(note.pk, "document")


# Signatures


def _signatures(maker: Maker, note: VisitNote) -> Iterator[Json]:
    target = [
        encounter_reference(note),
        pieces.reference("DocumentReference", _document_id(note)),
    ]
    yield provenance(
        maker, pieces.id_of(note.pk, "signed"), target, (note.signed_at, note.signed_by_id, AUTHOR)
    )
    if note.cosigned_at:
        cosigned = (note.cosigned_at, note.cosigned_by_id, VERIFIER)
        yield provenance(maker, pieces.id_of(note.pk, "cosigned"), target, cosigned)


def _plan_signature(maker: Maker, plan: PlanOfCare) -> Json:
    target = [pieces.reference("CarePlan", str(plan.pk))]
    signed = (plan.signed_at, plan.signed_by_id, AUTHOR)
    return provenance(maker, pieces.id_of(plan.pk, "signed"), target, signed)


def provenance(
    maker: Maker, id_: str, target: list[Json], signed: tuple[datetime | None, int | None, Json]
) -> Json:
    """Who stood for something, and when."""
    moment, by_id, kind = signed
    return maker.resource(
        "Provenance",
        id_,
        target=target,
        recorded=pieces.instant(moment),
        agent=[{"type": kind, "who": maker.staff(by_id), "onBehalfOf": maker.practice}],
    )
