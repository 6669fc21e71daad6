"""The small parts every resource is made of: codings, quantities, references, ids.

Pure, but for the practice's time zone, which is Django's own.

Own code systems stand under `urn:ebbline:`; a published code is used only where its source was
read. Systems, extensions and UCUM units as in FHIR R4 (4.0.1).
"""

import json
import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from functools import lru_cache
from typing import Any
from uuid import UUID, uuid5

from django.utils.timezone import localtime

from clinic.common.vocabulary import Word

Json = dict[str, Any]

OWN = "urn:ebbline"
UCUM = "http://unitsofmeasure.org"
ICD_10_CM = "http://hl7.org/fhir/sid/icd-10-cm"
LOINC = "http://loinc.org"
# The system of identifiers that are URIs themselves: Identifier.system, R4 4.0.1.
URI = "urn:ietf:rfc:3986"
HL7 = "http://terminology.hl7.org/CodeSystem"
# Official URL read at hl7.org/fhir/extensions (5.3.0); for Observation.bodySite only.
LATERALITY = "http://hl7.org/fhir/StructureDefinition/observation-structureLaterality"

# UCUM code -> what a person reads.
UNITS = {
    "cm": "cm",
    "mL": "mL",
    "kg": "kg",
    "%": "%",
    "min": "min",
    "mm[Hg]": "mmHg",
    "deg": "°",
    "1": "ratio",
    "d": "days",
    "{score}": "score",
}
# Finer than any tape, limb volume or score: binary noise ends here; common practice, no source.
PLACES = 3
# FHIR knows no null and no empty list or text.
EMPTY: tuple[Any, ...] = (None, "", [], {})


def filled(**fields: Any) -> Json:
    """The fields that hold something."""
    return {name: value for name, value in fields.items() if value not in EMPTY}


# A string of R4 is `[ \r\n\t\S]+`: no other blank, and by its own words no control character.
OTHER_BLANK = re.compile(r"[^\S \r\n\t]")
CONTROL = re.compile(r"[\x00-\x08\x0e-\x1b\x7f]")


# One for all: making an encoder costs as much as encoding a small resource.
as_json = json.JSONEncoder(ensure_ascii=False, check_circular=False, separators=(",", ":")).encode


def readable_json(resource: Json) -> str:
    """The resource on one line of JSON, every text as R4 allows it: a no-break space is a space.

    The JSON itself tells that nothing is to be done: ASCII, and no control character escaped.
    """
    told = as_json(resource)
    return told if told.isascii() and "\\" not in told else as_json(_walked(resource))


def _walked(value: Any) -> Any:
    if isinstance(value, str):
        return _readable(value)
    if isinstance(value, dict):
        return {name: _walked(each) for name, each in value.items()}
    return [_walked(each) for each in value] if isinstance(value, list) else value


def _readable(text: str) -> str:
    return CONTROL.sub("", OTHER_BLANK.sub(" ", text))


def coding(system: str, code: str, display: str = "") -> Json:
    told = {"system": system, "code": code}
    return told | {"display": display} if display else told


def concept(system: str, code: str, display: str, *, text: str = "") -> Json:
    """One code with the words that a person reads."""
    return {"coding": [coding(system, code, display)], "text": text or display}


def own(kind: str, code: str, display: str, *, text: str = "") -> Json:
    """A code of our own: its system is `urn:ebbline:` and the kind."""
    return concept(f"{OWN}:{kind}", " ".join(code.split()), display, text=text)


@lru_cache(maxsize=256)  # our own words, so few; nothing changes a part once it is made
def measure(kind: str, label: str) -> Json:
    """A code of our own system of measures."""
    return own("measure", kind, label)


def word(kind: str, chosen: Word, *, text: str = "") -> Json:
    """A word of the vocabulary as a code of our own."""
    return own(kind, chosen.value, chosen.label, text=text)


def hl7(system: str, code: str, display: str) -> Json:
    """A code of HL7's own terminology, without a text of ours."""
    return {"coding": [coding(f"{HL7}/{system}", code, display)]}


def quantity(value: float | Decimal, unit: str) -> Json:
    """A number in a UCUM unit. KeyError for a unit that no resource uses."""
    return {
        "value": round(float(value), PLACES),
        "unit": UNITS[unit],
        "system": UCUM,
        "code": unit,
    }


def identifier(kind: str, value: str) -> Json:
    """A value that is nobody else's anywhere, such as a hash, in a system of our own."""
    return {"system": f"{OWN}:{kind}", "value": value}


def urn_identifier(key: UUID) -> Json:
    """A random key as an identifier that is unique everywhere."""
    return {"system": URI, "value": f"urn:uuid:{key}"}


def extension(kind: str, **value: Any) -> Json:
    """An extension of our own with one value, such as valueDuration."""
    return {"url": f"{OWN}:extension:{kind}", **value}


def component(kind: str, label: str, **value: Any) -> Json:
    """One part of an observation, coded by our own system of measures."""
    return {"code": measure(kind, label), **value}


def note(*texts: str) -> list[Json]:
    """Annotations, those without words left out."""
    return [{"text": text} for text in texts if text]


def instant(moment: datetime | None) -> str:
    """A moment to the second, with its offset in the practice's zone: the day is the one people
    know. ValueError without a moment or its zone."""
    if moment is None or moment.tzinfo is None:
        raise ValueError("no moment, or one without a time zone")
    return localtime(moment).isoformat(timespec="seconds")


def period(start: date | datetime | None, end: date | datetime | None = None) -> Json:
    return filled(start=_when(start), end=_when(end))


def _when(day: date | datetime | None) -> str | None:
    return instant(day) if isinstance(day, datetime) else day.isoformat() if day else None


def telecom(*, phone: str = "", fax: str = "", email: str = "") -> list[Json]:
    said = (("phone", phone), ("fax", fax), ("email", email))
    return [{"system": system, "value": value} for system, value in said if value]


def address(street: str, town: str) -> list[Json]:
    """Town, state and postcode are one text in our record, so they stay one text."""
    said = [part for part in (street, town) if part]
    return [{"text": ", ".join(said), "line": said}] if said else []


def human_name(family: str, given: str, *, prefix: str = "") -> list[Json]:
    name = filled(use="official", family=family, given=[given] if given else [])
    return [name | ({"prefix": [prefix]} if prefix else {})]


# Where on the body


def place_name(site: str, side: str) -> str:
    """ "right arm"; what lies in the midline, or has no side, goes without one."""
    return f"{side} {site}" if side in {"left", "right"} else site


def site_seen(code: str, label: str, side: str) -> Json:
    """Body site of an Observation: the site coded, the side as the laterality extension."""
    site = own("body-site", code, label, text=place_name(label, side))
    if side not in {"left", "right"}:
        return site
    lateral = own("side", side, side)
    return {"extension": [{"url": LATERALITY, "valueCodeableConcept": lateral}], **site}


def site_with_side(code: str, label: str, side: str) -> Json:
    """Body site of any other resource, where that extension has no place: side in the code."""
    named = f"{side}-{code}" if side in {"left", "right"} else code
    return own("body-site", named, place_name(label, side))


# Who and what is referred to


@lru_cache(maxsize=1024)  # an id is asked for again by each reference to it
def id_of(key: UUID, part: str = "") -> str:
    """The stable id of a row, or of one of several resources made from it."""
    return str(uuid5(key, part)) if part else str(key)


def reference(resource: str, id_: str) -> Json:
    return {"reference": f"urn:uuid:{id_}", "type": resource}


@dataclass(frozen=True)
class Maker:
    """Makes the resources of one client: ids from the client's random key, never from a name.

    Rows numbered by the database get an id under the client's key, so that the bundles of two
    practices never share one.
    """

    client_key: UUID

    @property
    def subject(self) -> Json:
        return reference("Patient", str(self.client_key))

    @property
    def practice(self) -> Json:
        return reference("Organization", self.id_of("practice", 1))

    def numbered(self, number: str, **fields: Any) -> Json:
        """A number that only this practice gave: without a system, for others count alike."""
        return {**fields, "value": number, "assigner": self.practice}

    def id_of(self, kind: str, number: int) -> str:
        return id_of(self.client_key, f"{kind}:{number}")

    def staff(self, number: int | None) -> Json | None:
        return None if number is None else reference("Practitioner", self.id_of("staff", number))

    def staff_list(self, numbers: Iterable[int | None]) -> list[Json]:
        return [found for number in numbers if (found := self.staff(number))]

    def resource(self, kind: str, id_: str, **fields: Any) -> Json:
        """A resource about this client, without its empty fields."""
        return {"resourceType": kind, "id": id_, **filled(**fields)}
