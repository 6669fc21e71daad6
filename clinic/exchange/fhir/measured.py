"""Observation: what the tape says. Girths as taped, then what follows from them with its error.

Volumes are those of the measuring pages: `measurements.limb`, method and version named in each.
"""

from collections.abc import Iterable, Iterator
from datetime import datetime
from decimal import Decimal
from functools import lru_cache

from clinic.common.vocabulary import Limb, Side
from clinic.exchange.fhir import pieces
from clinic.exchange.fhir.pieces import Json, Maker, component, quantity
from clinic.exchange.rows import ClientRows
from measurements.limb.comparison import Comparison, compare_limbs
from measurements.limb.errors import ComparisonError
from measurements.limb.volume import Section, Volume, limb_volume
from measurements.models import EndReading, GirthReading
from measurements.selectors.taped import Taped

EXAM = pieces.hl7("observation-category", "exam", "Exam")
VITAL_SIGNS = pieces.hl7("observation-category", "vital-signs", "Vital Signs")
# LOINC 29463-7, seen in published material; its check digit is checked in the tests.
BODY_WEIGHT = pieces.concept(pieces.LOINC, "29463-7", "Body weight")


def observations(maker: Maker, rows: ClientRows) -> Iterator[Json]:
    """All sessions; a struck one keeps its girths as entered in error, and nothing computed."""
    for taped in rows.tapings:
        yield from _Session(maker, rows, taped).observations()


class _Session:
    """The observations of one measuring session."""

    def __init__(self, maker: Maker, rows: ClientRows, taped: Taped) -> None:
        self.maker, self.rows, self.taped = maker, rows, taped
        facts = taped.facts
        self.key = facts.id
        self.when = facts.taken_on.isoformat()
        if facts.taken_at is not None:
            moment = datetime.combine(facts.taken_on, facts.taken_at, tzinfo=rows.zone)
            self.when = pieces.instant(moment)

    def observations(self) -> Iterator[Json]:
        by_side = _by_side(self.taped.readings)
        yield from (self._panel(side, readings) for side, readings in by_side.items())
        yield from (self._end(end) for end in self.taped.session.end_readings.all())
        yield from self._weight()
        if not self.taped.facts.is_struck:
            yield from self._computed()

    def _observation(self, part: str, **fields: object) -> Json:
        values: Json = {
            "status": "entered-in-error" if self.taped.facts.is_struck else "final",
            "category": [EXAM],
            "subject": self.maker.subject,
            "effectiveDateTime": self.when,
            "performer": self.maker.staff_list([self.taped.session.taken_by_id]),
        }
        return self.maker.resource("Observation", pieces.id_of(self.key, part), **values | fields)

    def _site(self, side: Side) -> Json:
        limb = self.taped.facts.limb
        return pieces.site_seen(limb.value, limb.label, side.value)

    def _reference(self, part: str) -> Json:
        return pieces.reference("Observation", pieces.id_of(self.key, part))

    def _panel(self, side: Side, readings: list[GirthReading]) -> Json:
        facts = self.taped.facts
        told = f"Tape at levels above: {facts.start_landmark}. Protocol: {facts.protocol}."
        struck = f"Struck out: {facts.struck_reason}" if facts.is_struck else ""
        posture = component("posture", "posture", valueCodeableConcept=_posture(self.taped))
        return self._observation(
            f"girths:{side}",
            code=pieces.measure("girths", "girths of one limb"),
            bodySite=self._site(side),
            method={"text": told},
            note=pieces.note(facts.note, struck, "Baseline." if facts.is_baseline else ""),
            component=[*map(_girth, readings), posture],
        )

    def _end(self, end: EndReading) -> Json:
        side, is_arm = Side(end.side), self.taped.facts.limb is Limb.ARM
        site = ("hand", "hand") if is_arm else ("foot", "foot")
        is_length = end.figure_of_eight_cm is not None
        code = ("figure-of-eight", "figure-of-eight length") if is_length else DISPLACED
        return self._observation(
            f"end:{side}",
            code=pieces.measure(*code),
            bodySite=pieces.site_seen(*site, side.value),
            valueQuantity=quantity(end.figure_of_eight_cm, "cm")
            if end.figure_of_eight_cm is not None
            else quantity(end.displaced_ml or 0, "mL"),
        )

    def _weight(self) -> Iterator[Json]:
        if self.taped.facts.weight_kg is not None:
            yield self._observation(
                "weight",
                category=[VITAL_SIGNS],
                code=BODY_WEIGHT,
                valueQuantity=quantity(self.taped.facts.weight_kg, "kg"),
            )

    def _computed(self) -> Iterator[Json]:
        compared = _compared(self.taped)
        volumes = _volumes(self.taped, compared)
        yield from (self._volume(side, volumes[side]) for side in Side if side in volumes)
        if compared:
            yield self._excess(compared)

    def _volume(self, side: Side, volume: Volume) -> Json:
        return self._observation(
            f"volume:{side}",
            code=pieces.measure("limb-volume", "limb volume from girths"),
            bodySite=self._site(side),
            method={"text": volume.method},
            valueQuantity=quantity(volume.ml, "mL"),
            derivedFrom=[self._reference(f"girths:{side}")],
            component=[_error(volume.error_ml), *_section(volume.section)],
        )

    def _excess(self, compared: Comparison) -> Json:
        side = self.taped.sides.side or Side.RIGHT
        percent = component(
            "excess-percent",
            "excess volume in percent of the other limb",
            valueQuantity=quantity(compared.excess_percent, "%"),
        )
        percent_error = component(
            "standard-error-percent",
            "standard error of the excess in percent",
            valueQuantity=quantity(compared.excess_percent_error, "%"),
        )
        return self._observation(
            "excess",
            code=pieces.measure("excess-volume", "excess volume over the other limb"),
            bodySite=self._site(side),
            method={"text": compared.affected.method},
            valueQuantity=quantity(compared.excess_ml, "mL"),
            interpretation=[pieces.word("verdict", compared.verdict)],
            derivedFrom=[self._reference(f"girths:{each}") for each in (side, side.other)],
            component=[
                _error(compared.excess_error_ml),
                percent,
                percent_error,
                *_section(compared.section),
            ],
        )


DISPLACED = ("displaced-volume", "displaced volume")


def _by_side(readings: Iterable[GirthReading]) -> dict[Side, list[GirthReading]]:
    found: dict[Side, list[GirthReading]] = {}
    for reading in readings:
        found.setdefault(Side(reading.side), []).append(reading)
    return found


def _compared(taped: Taped) -> Comparison | None:
    """The affected limb against the other; None where there is no such pair."""
    try:
        return compare_limbs(*taped.pair, tape=taped.tape) if taped.pair else None
    except ComparisonError:
        return None


def _volumes(taped: Taped, compared: Comparison | None) -> dict[Side, Volume]:
    """Each limb over all that was taped of it; a comparison over just that has them already."""
    side = taped.sides.side
    if side and compared and not compared.section_is_shorter:
        return {side: compared.affected, side.other: compared.other}
    return {girths.side: limb_volume(girths, tape=taped.tape) for girths in taped.limbs}


def _posture(taped: Taped) -> Json:
    return pieces.word("posture", taped.facts.posture)


def _girth(reading: GirthReading) -> Json:
    """One girth as taped."""
    taped_at = _station(reading.level_cm, reading.trial)
    return taped_at | {"valueQuantity": quantity(reading.girth_cm, "cm")}


@lru_cache(maxsize=1024)  # few protocols, thousands of girths
def _station(level_cm: Decimal, trial: int) -> Json:
    """Where a girth was taped. Its level is a quantity of its own, for a text cannot be sorted."""
    level = f"{level_cm:f}".rstrip("0").rstrip(".") or "0"
    again = f", trial {trial}" if trial > 1 else ""
    return {
        "extension": [
            pieces.extension("level", valueQuantity=quantity(level_cm, "cm")),
            pieces.extension("trial", valuePositiveInt=trial),
        ],
        "code": pieces.own("measure", "girth", "girth", text=f"girth at {level} cm{again}"),
    }


def _error(error_ml: float) -> Json:
    return component("standard-error", "standard error", valueQuantity=quantity(error_ml, "mL"))


def _section(section: Section) -> list[Json]:
    """The stretch of limb a volume is of."""
    ends = (("from-level", "from level", section.from_cm), ("to-level", "to level", section.to_cm))
    return [component(code, name, valueQuantity=quantity(cm, "cm")) for code, name, cm in ends]
