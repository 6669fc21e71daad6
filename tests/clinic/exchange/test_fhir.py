"""A client's record as FHIR R4: valid by two outside validators, whole, and nobody else's."""

import json
import re
from base64 import b64decode
from collections.abc import Iterator
from copy import deepcopy
from datetime import UTC, date, datetime, timedelta
from hashlib import sha1
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
import simple_icd_10_cm as icd
from django.db import connection
from django.test.utils import CaptureQueriesContext

from clinic.exchange.fhir.bundle import bundle_json
from clinic.exchange.fhir.pieces import UNITS, instant
from clinic.exchange.record import client_bundle
from clinic.exchange.selectors.gathering import rows_of
from clinic.keeping.services.merging import merge_clients
from tests.builders import make_client, make_episode, today
from tests.cast import Cast
from tests.clinic.exchange.stories import PDF, SIGNED_AT, whole_record
from tests.clinic.exchange.validators import model_faults, schema_faults

Json = dict[str, Any]

EVERY_KIND = {
    "CarePlan",
    "Condition",
    "DeviceRequest",
    "DocumentReference",
    "Encounter",
    "EpisodeOfCare",
    "Flag",
    "Goal",
    "Observation",
    "Organization",
    "Patient",
    "Practitioner",
    "PractitionerRole",
    "Procedure",
    "Provenance",
    "ServiceRequest",
}


@pytest.fixture
def record(cast: Cast) -> Json:
    return json.loads(client_bundle(whole_record(cast)))


def resources(record: Json, kind: str = "") -> list[Json]:
    found = [entry["resource"] for entry in record["entry"]]
    return [each for each in found if kind in {"", each["resourceType"]}]


def measured(record: Json, code: str) -> list[Json]:
    observations = resources(record, "Observation")
    return [each for each in observations if each["code"]["coding"][0]["code"] == code]


def walked(value: Any, name: str = "") -> Iterator[tuple[str, Any]]:
    """Every (name, value) inside."""
    yield name, value
    if isinstance(value, dict):
        for key, each in value.items():
            yield from walked(each, key)
    if isinstance(value, list):
        for each in value:
            yield from walked(each, name)


def test_both_validators_accept_every_resource_and_the_bundle(record: Json) -> None:
    assert {each["resourceType"] for each in resources(record)} == EVERY_KIND
    for resource in resources(record):
        assert schema_faults(resource) == [], resource
        assert model_faults(resource) == [], resource
    assert schema_faults({**record, "entry": record["entry"][:3]}) == []
    assert model_faults(record) == []


WEIGHT = {
    "resourceType": "Observation",
    "status": "final",
    "code": {"text": "weight"},
    "valueQuantity": {"value": 70.5},
    "effectiveDateTime": "2026-03-04",
}
# name: what is changed, caught by the schema, caught by the models. Seen when both were run.
PLANTED: dict[str, tuple[Json, bool, bool]] = {
    "none": ({}, False, False),
    "status missing": ({"status": None}, False, True),
    "status not in the list": ({"status": "done"}, True, False),
    "date as a person writes it": ({"effectiveDateTime": "04/03/2026"}, True, True),
    "time without a zone": ({"effectiveDateTime": "2026-03-04T10:15:00"}, True, True),
    "unknown field": ({"weight": 70.5}, True, True),
    "text as a number": ({"valueQuantity": {"value": "seventy"}}, True, True),
    "code missing": ({"code": None}, True, True),
    "wrong resource type": ({"resourceType": "Observatory"}, True, True),
    "two values": ({"valueString": "70.5"}, False, True),
}


@pytest.mark.parametrize("fault", PLANTED)
def test_the_two_validators_together_catch_every_planted_fault(fault: str) -> None:
    changed, by_schema, by_models = PLANTED[fault]
    planted = {k: v for k, v in (deepcopy(WEIGHT) | changed).items() if v is not None}
    assert bool(schema_faults(planted, "Observation")) is by_schema
    assert bool(model_faults(planted, "Observation")) is by_models
    assert (by_schema or by_models) is (fault != "none")


def test_every_reference_resolves_inside_and_ids_stay_and_say_nothing(
    record: Json, cast: Cast
) -> None:
    urls = [entry["fullUrl"] for entry in record["entry"]]
    assert len(urls) == len(set(urls))
    named = {value for name, value in walked(record) if name == "reference"}
    assert named <= set(urls)
    assert len(named) > 20
    assert all(re.fullmatch(r"urn:uuid:[0-9a-f-]{36}", url) for url in urls)
    assert [e["fullUrl"].removeprefix("urn:uuid:") for e in record["entry"]] == [
        each["id"] for each in resources(record)
    ]
    (rows,) = rows_of([resources(record, "Patient")[0]["id"]])
    assert [entry["fullUrl"] for entry in json.loads(bundle_json(rows))["entry"]] == urls


def test_two_practices_number_their_staff_alike_and_still_share_no_id(cast: Cast) -> None:
    episodes = [make_episode(make_client(), cast.therapist) for _ in range(2)]
    one, other = (json.loads(client_bundle(each.client))["entry"] for each in episodes)
    for entries in (one, other):
        assert "Practitioner" in {entry["resource"]["resourceType"] for entry in entries}
    assert not {entry["fullUrl"] for entry in one} & {entry["fullUrl"] for entry in other}


def test_a_number_that_only_this_practice_gave_claims_no_system(record: Json) -> None:
    """R4, Identifier.system: "a set values that are unique". Others count from 10001 too."""
    (patient,) = resources(record, "Patient")
    everywhere, number = patient["identifier"]
    assert everywhere == {"system": "urn:ietf:rfc:3986", "value": f"urn:uuid:{patient['id']}"}
    assert number["type"]["coding"][0]["code"] == "MR"
    ids = {each["id"]: each for each in resources(record)}
    staff = [
        each["identifier"][0] for each in resources(record, "Practitioner") if "identifier" in each
    ]
    assert staff
    for given in (number, *staff):
        assert "system" not in given
        giver = ids[given["assigner"]["reference"].removeprefix("urn:uuid:")]
        assert giver["name"] == "Saltmere Lymphedema Practice"


def test_a_merged_record_is_known_by_its_old_number(cast: Cast) -> None:
    kept, other = make_client(), make_client(record_number="M7")
    merge_clients(kept=kept, other=other, taking=[], by=cast.lead)
    bundle = json.loads(client_bundle(kept))
    _, number, old = resources(bundle, "Patient")[0]["identifier"]
    assert number["value"] == kept.record_number
    assert (old["value"], old["use"], "system" in old) == ("M7", "old", False)
    assert schema_faults(bundle) == model_faults(bundle) == []


def test_drafts_and_other_people_stay_in_the_practice(cast: Cast) -> None:
    text = client_bundle(whole_record(cast)).decode()
    assert "A draft stays here." not in text
    assert "Otherwise" not in text
    assert "Ångström" in text  # UTF-8 as it is


def test_moments_carry_a_zone_and_texts_hold_no_strange_blank(record: Json) -> None:
    texts = [value for _, value in walked(record) if isinstance(value, str)]
    moments = [text for text in texts if re.match(r"\d{4}-\d\d-\d\dT", text)]
    assert len(moments) > 5
    # With an offset, as dateTime and instant of R4 ask for, and that of the practice's own clocks.
    new_york = ZoneInfo("America/New_York")
    told = [datetime.fromisoformat(moment) for moment in moments]
    assert moments == [moment.astimezone(new_york).isoformat() for moment in told]
    assert not [text for text in texts if re.search(r"[^\S \r\n\t]", text)]
    # The practice's zone is New York's: winter time, then summer time.
    starts = {each["effectiveDateTime"] for each in measured(record, "girths")}
    assert {"2026-01-05T10:15:00-05:00", "2026-07-06T09:30:00-04:00", "2026-07-06"} == starts
    with pytest.raises(ValueError, match="zone"):
        instant(datetime(2026, 1, 1))  # noqa: DTZ001


# tests/published/worked_examples.json, the constructed arm of 11 girths, 4 cm apart.
ARM_ML, OTHER_ARM_ML, EXCESS_ML, EXCESS_PERCENT = 2217.081, 1848.018, 369.063, 19.9708


def test_volumes_are_those_of_the_published_example_and_name_what_they_come_from(
    record: Json,
) -> None:
    volumes = measured(record, "limb-volume")
    assert sorted(each["valueQuantity"]["value"] for each in volumes) == pytest.approx(
        [OTHER_ARM_ML, OTHER_ARM_ML, ARM_ML, ARM_ML], abs=1e-3
    )
    ids = {each["id"]: each for each in resources(record)}
    for volume in volumes:
        source = ids[volume["derivedFrom"][0]["reference"].removeprefix("urn:uuid:")]
        assert source["code"]["text"] == "girths of one limb"
        assert source["bodySite"] == volume["bodySite"]
        assert volume["component"][0]["code"]["coding"][0]["code"] == "standard-error"
    excess = measured(record, "excess-volume")[0]
    percent = excess["component"][1]["valueQuantity"]
    assert excess["valueQuantity"]["value"] == pytest.approx(EXCESS_ML, abs=1e-3)
    assert (percent["value"], percent["code"]) == (pytest.approx(EXCESS_PERCENT, abs=5e-4), "%")


def test_girths_carry_site_side_and_level(record: Json) -> None:
    panel = next(
        each
        for each in measured(record, "girths")
        if each["bodySite"]["text"] == "right arm" and each["status"] == "final"
    )
    (lateral,) = panel["bodySite"]["extension"]
    assert (
        lateral["url"] == "http://hl7.org/fhir/StructureDefinition/observation-structureLaterality"
    )
    assert lateral["valueCodeableConcept"]["text"] == "right"
    girths = [part for part in panel["component"] if "extension" in part]
    levels = [part["extension"][0]["valueQuantity"]["value"] for part in girths]
    assert levels == [4.0 * n for n in range(11)]
    assert girths[1]["valueQuantity"] == {
        "value": 19.1,
        "unit": "cm",
        "system": "http://unitsofmeasure.org",
        "code": "cm",
    }


def test_a_struck_session_is_entered_in_error_and_nothing_is_computed_from_it(
    record: Json,
) -> None:
    struck = [
        each for each in resources(record, "Observation") if each["status"] == "entered-in-error"
    ]
    assert {each["code"]["text"] for each in struck} == {"girths of one limb", "Body weight"}
    assert len(measured(record, "excess-volume")) == 2  # three sessions, one struck


def test_the_disease_has_a_side_and_stage_and_a_region_at_risk_is_no_place_of_it(
    record: Json,
) -> None:
    (condition,) = resources(record, "Condition")
    assert condition["bodySite"][0]["text"] == "right arm"
    assert condition["stage"][0]["summary"]["text"] == "ISL stage II"
    assert condition["note"][1]["text"] == "At risk: right breast."


def test_a_note_says_when_it_was_signed_as_the_practice_s_clock_did(record: Json) -> None:
    note = next(each for each in resources(record, "DocumentReference") if "encounter" in str(each))
    text = b64decode(note["content"][0]["attachment"]["data"]).decode()
    assert re.findall(r"Signed: .*, (.*)", text) == ["2026-02-03T11:20:00-05:00"]
    assert datetime.fromisoformat(note["date"]) == SIGNED_AT


def test_goals_of_an_ended_plan_are_no_longer_sought(cast: Cast) -> None:
    (rows,) = rows_of([whole_record(cast).pk])

    def stand(ended_on: date | None) -> list[tuple[str, bool]]:
        rows.plans[0].ended_on = ended_on
        bundle = json.loads(bundle_json(rows))
        plan = next(each for each in resources(bundle, "CarePlan") if each["intent"] == "plan")
        goals = resources(bundle, "Goal")
        return [
            (plan["status"], True),
            *((each["lifecycleStatus"], "achievementStatus" in each) for each in goals),
        ]

    running = [("active", True), ("completed", True), ("active", True), ("active", True)]
    assert stand(None) == running
    assert stand(today()) == running  # the next one begins tomorrow
    over = stand(today() - timedelta(days=1))
    assert [each for each, _ in over] == 4 * ["completed"]
    assert [is_told for _, is_told in over[1:]] == [True, False, False]


def test_a_plan_written_in_the_evening_was_not_created_on_the_next_day(cast: Cast) -> None:
    """Half past nine in New York is another day in UTC: a moment, not a day of either."""
    client = whole_record(cast)
    evening = datetime(2026, 2, 4, 2, 30, tzinfo=UTC)
    (rows,) = rows_of([client.pk])
    rows.plans[0].written_at = evening
    (plan, _) = resources(json.loads(bundle_json(rows)), "CarePlan")
    assert datetime.fromisoformat(plan["created"]) == evening


def test_letters_leave_byte_for_byte(record: Json) -> None:
    letter = next(each for each in resources(record, "DocumentReference") if "description" in each)
    sent = letter["content"][0]["attachment"]
    assert b64decode(sent["data"]) == PDF
    assert (sent["size"], sent["contentType"]) == (len(PDF), "application/pdf")
    assert b64decode(sent["hash"]) == sha1(PDF, usedforsecurity=False).digest()


def test_every_code_of_a_published_system_is_in_it(record: Json, published: Path) -> None:
    sets = json.loads((published / "fhir_r4_value_sets.json").read_text(encoding="utf-8"))
    seen = set()
    for name, value in walked(record):
        if name in {"coding", "class"} and isinstance(value, dict):
            seen.add((value["system"], value["code"]))
    diagnoses = {code for system, code in seen if system.endswith("icd-10-cm")}
    loinc = {code for system, code in seen if system == "http://loinc.org"}
    assert (diagnoses, loinc) == ({"I97.2"}, {"29463-7"})
    assert all(icd.is_valid_item(code) and icd.is_leaf(code) for code in diagnoses)
    assert all(luhn_is_right(code) for code in loinc)
    assert not luhn_is_right("29463-8")
    for system, code in seen:
        if system.startswith("http://terminology.hl7.org"):
            assert code in sets[system], (system, code)
    known = re.compile(
        r"urn:ebbline:|http://terminology\.hl7\.org|http://loinc\.org|http://hl7\.org"
    )
    assert all(known.match(system) for system, _ in seen)


def luhn_is_right(code: str) -> bool:
    """LOINC's check digit, mod 10 (Luhn): ISO/IEC 7812-1, annex B; from memory, not re-read."""
    digits = [int(sign) for sign in reversed(code.replace("-", ""))]
    doubled = [
        digit if i % 2 == 0 else sum(divmod(2 * digit, 10)) for i, digit in enumerate(digits)
    ]
    return sum(doubled) % 10 == 0


def test_every_unit_is_valid_ucum(record: Json, published: Path) -> None:
    judged = json.loads((published / "ucum_units.json").read_text(encoding="utf-8"))
    used = {value["code"] for _, value in walked(record) if is_quantity(value)}
    assert used == set(UNITS)
    assert used <= set(judged["valid"])
    assert not used & set(judged["invalid"])


def is_quantity(value: Any) -> bool:
    return isinstance(value, dict) and value.get("system") == "http://unitsofmeasure.org"


def test_building_asks_the_database_nothing_and_reading_asks_as_often_for_many(
    cast: Cast,
) -> None:
    client = whole_record(cast)
    with CaptureQueriesContext(connection) as reading:
        (rows,) = rows_of([client.pk])
    with CaptureQueriesContext(connection) as building:
        bundle_json(rows)
    assert len(building) == 0
    others = [make_client().pk for _ in range(5)]
    with CaptureQueriesContext(connection) as many:
        assert len(list(rows_of([client.pk, *others]))) == 6
    assert len(many) == len(reading) <= 40
