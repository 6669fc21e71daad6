"""Observation: outcome scores, findings with the stage, how the home programme was followed."""

from collections.abc import Iterator, Mapping

from clinic.common.vocabulary import Region, RegionSide
from clinic.exchange.fhir import pieces
from clinic.exchange.fhir.care import stage_concept
from clinic.exchange.fhir.pieces import Json, Maker, component, quantity
from clinic.exchange.rows import ClientRows
from measurements.limb.instruments import SPECS, Instrument, Part
from measurements.limb.staging import Elevation, Fibrosis, Pitting, SkinChange, Stemmer, Symptom
from measurements.models import LimbFindings, OutcomeScore
from programmes.models import DAYS_ASKED, AdherenceRecord

EXAM = pieces.hl7("observation-category", "exam", "Exam")
SURVEY = pieces.hl7("observation-category", "survey", "Survey")
# What the instruments' units are in UCUM; points of a questionnaire have none.
UCUM_OF = {"": "{score}", "°": "deg", "kg": "kg", "mL": "mL"}
RATIOS = {Instrument.IMPEDANCE, Instrument.TISSUE_WATER}
# Where an instrument is taken whose part names a movement, or nothing.
SITES = {Instrument.SHOULDER: ("shoulder", "shoulder"), Instrument.GRIP: ("hand", "hand")}


def scores(maker: Maker, rows: ClientRows) -> Iterator[Json]:
    yield from (_score(maker, each) for each in rows.scores)


def ucum_of(instrument: Instrument) -> str:
    return "1" if instrument in RATIOS else UCUM_OF[SPECS[instrument].unit]


def _score(maker: Maker, score: OutcomeScore) -> Json:
    """The score alone: a questionnaire's answers and wording stay where they are."""
    instrument = Instrument(score.instrument)
    is_struck = score.struck_at is not None
    part = Part(score.part) if score.part else None
    is_movement = instrument in SITES and part is not None
    activities = f"Activities: {'; '.join(score.activities)}." if score.activities else ""
    return maker.resource(
        "Observation",
        str(score.pk),
        status="entered-in-error" if is_struck else "final",
        category=[SURVEY if instrument not in RATIOS and not score.side else EXAM],
        code=pieces.word("score", instrument),
        subject=maker.subject,
        effectiveDateTime=score.scored_on.isoformat(),
        performer=maker.staff_list([score.scored_by_id]),
        valueQuantity=quantity(score.score, ucum_of(instrument)),
        bodySite=_score_site(instrument, part, score.side),
        component=[_part(part)] if part and (is_movement or not score.side) else [],
        note=pieces.note(
            activities, score.note, f"Struck out: {score.struck_reason}" if is_struck else ""
        ),
    )


def _score_site(instrument: Instrument, part: Part | None, side: str) -> Json | None:
    if not side:
        return None
    code, label = SITES.get(instrument) or (
        (part.value, part.label) if part else (instrument.value, instrument.label)
    )
    return pieces.site_seen(code, label, side)


def _part(part: Part) -> Json:
    return component("part", "what was scored", valueCodeableConcept=pieces.word("part", part))


# Findings


def findings(maker: Maker, rows: ClientRows) -> Iterator[Json]:
    yield from (_look(maker, each) for each in rows.findings)


def _look(maker: Maker, look: LimbFindings) -> Json:
    """The stage that was decided, and the findings it rests on."""
    region, side = Region(look.region.region), RegionSide(look.region.side)
    override = f"Stage overruled: {look.override_reason}" if look.override_reason else ""
    return maker.resource(
        "Observation",
        str(look.pk),
        status="final",
        category=[EXAM],
        code=pieces.own("measure", "limb-findings", "findings and stage of a region"),
        subject=maker.subject,
        effectiveDateTime=look.found_on.isoformat(),
        performer=maker.staff_list([look.found_by_id]),
        valueCodeableConcept=stage_concept(look),
        bodySite=pieces.site_seen(region.value, region.label, side.value),
        component=list(_found(look)),
        note=pieces.note(look.note, override),
    )


ASKED: Mapping[str, tuple[str, type]] = {
    "pitting": ("pitting", Pitting),
    "elevation": ("change on raising the limb", Elevation),
    "stemmer": ("skin fold at the base of finger or toe", Stemmer),
    "fibrosis": ("firmness", Fibrosis),
}


def _found(look: LimbFindings) -> Iterator[Json]:
    yield component("swelling-visible", "swelling visible", valueBoolean=look.swelling_visible)
    for name, (label, words) in ASKED.items():
        found = pieces.word(name, words(getattr(look, name)))
        yield component(name, label, valueCodeableConcept=found)
    for change in look.skin_changes:
        found = pieces.word("skin-change", SkinChange(change))
        yield component("skin-change", "skin change", valueCodeableConcept=found)
    for symptom in look.symptoms:
        found = pieces.word("symptom", Symptom(symptom))
        yield component("symptom", "symptom", valueCodeableConcept=found)


# Adherence


def adherence(maker: Maker, rows: ClientRows) -> Iterator[Json]:
    yield from (_followed(maker, each) for each in rows.adherence)


def _followed(maker: Maker, record: AdherenceRecord) -> Json:
    name = f"days of the last {DAYS_ASKED} on which the home programme was done"
    return maker.resource(
        "Observation",
        maker.id_of("adherence", record.pk),
        status="final",
        category=[SURVEY],
        code=pieces.own("measure", "programme-days", name),
        subject=maker.subject,
        effectiveDateTime=record.recorded_on.isoformat(),
        performer=maker.staff_list([record.recorded_by_id]),
        valueQuantity=quantity(record.days_done, "d"),
        note=pieces.note(record.note),
    )
