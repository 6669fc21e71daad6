"""DocumentReference (letters as approved), DeviceRequest (garments)."""

from collections.abc import Iterator

from clinic.common.vocabulary import RegionSide
from clinic.exchange.fhir import pieces
from clinic.exchange.fhir.care import episode_reference
from clinic.exchange.fhir.people import referrer_reference
from clinic.exchange.fhir.pieces import Json, Maker
from clinic.exchange.fhir.visits import AUTHOR, attachment, provenance
from clinic.exchange.rows import ClientRows
from clinic.letters.models import ProgressLetter
from programmes.compression.words import BodyPart, EndReason
from programmes.models import Garment


def letters(maker: Maker, rows: ClientRows) -> Iterator[Json]:
    """The very bytes that were approved, with who approved them."""
    for letter in rows.letters:
        yield _letter(maker, letter)
        yield provenance(
            maker,
            pieces.id_of(letter.pk, "approved"),
            [pieces.reference("DocumentReference", str(letter.pk))],
            (letter.approved_at, letter.approved_by_id, AUTHOR),
        )


def _letter(maker: Maker, letter: ProgressLetter) -> Json:
    sent = attachment(bytes(letter.pdf or b""), "application/pdf", str(letter))
    reader = [referrer_reference(letter.referrer)] if letter.referrer else []
    return maker.resource(
        "DocumentReference",
        str(letter.pk),
        identifier=[pieces.identifier("pdf-sha256", letter.pdf_sha256)],
        status="current",
        docStatus="final",
        type=pieces.word("document", letter.kind_word),
        subject=maker.subject,
        date=pieces.instant(letter.approved_at) if letter.approved_at else None,
        author=maker.staff_list([letter.approved_by_id]),
        custodian=maker.practice,
        description=letter.bottom_line,
        content=[{"attachment": sent}],
        context={
            "period": pieces.period(letter.period_from, letter.period_to),
            "related": [episode_reference(letter.episode_id), *reader],
        },
    )


def garments(maker: Maker, rows: ClientRows) -> Iterator[Json]:
    yield from (_garment(maker, each) for each in rows.garments)


def _garment(maker: Maker, garment: Garment) -> Json:
    """A garment ordered or issued. Class systems are no code systems, so they stay words."""
    part, side = BodyPart(garment.part), RegionSide(garment.side)
    ended = EndReason(garment.end_reason).label if garment.end_reason else ""
    first_on = garment.ordered_on or garment.issued_on
    told = {
        "Issued": garment.issued_on,
        "Replacement due": garment.replacement_due_on,
        "Ended": garment.ended_on,
    }
    days = (f"{name} {day.isoformat()}." for name, day in told.items() if day)
    return maker.resource(
        "DeviceRequest",
        str(garment.pk),
        status="completed" if garment.ended_on else "active",
        intent="order",
        codeCodeableConcept=pieces.own(
            "garment",
            pieces.place_name(part.value, side.value).replace(" ", "-"),
            f"{garment.where} garment",
            text=str(garment),
        ),
        parameter=[_pressure(garment)],
        subject=maker.subject,
        authoredOn=first_on.isoformat() if first_on else None,
        supportingInfo=[episode_reference(garment.episode_id)],
        note=pieces.note(*days, ended),
    )


def _pressure(garment: Garment) -> Json:
    code = pieces.own("garment-parameter", "pressure", "pressure", text=garment.pressure_words)
    low = pieces.quantity(garment.from_mmhg, "mm[Hg]")
    if garment.to_mmhg is None:
        return {"code": code, "valueRange": {"low": low}}
    high = pieces.quantity(garment.to_mmhg, "mm[Hg]")
    return {"code": code, "valueRange": {"low": low, "high": high}}
