"""A list of girths comes in with one slip, mended; then the client's record leaves."""

import json
from collections.abc import Callable
from datetime import date
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from clinic.accounts.models import User
from measurements.models import GirthReading
from tests.builders import make_client, make_episode, make_protocol
from tests.cast import Cast
from tests.clinic.exchange.validators import model_faults, schema_faults

pytestmark = [pytest.mark.journey, pytest.mark.django_db(transaction=True)]

LEVELS_CM, GIRTHS_CM = [0, 4], {"right": ("17,2", "21,4"), "left": ("17,0", "20,3")}


def spreadsheet(folder: Path, *, first: str) -> Path:
    """As a spreadsheet with decimal commas writes it; `first` is the first girth as typed."""
    lines = ["Record number;Taken on;Limb;Side;Level cm;Girth cm;Posture;Protocol"]
    for side, girths in GIRTHS_CM.items():
        for level, girth in zip(LEVELS_CM, girths, strict=True):
            lines.append(f"J1;2026-02-02;Arm;{side};{level};{girth};sitting;Forearm")
    path = folder / "girths.csv"
    path.write_text("\r\n".join(lines).replace("17,2", first, 1), encoding="utf-8-sig")
    return path


def check(page: Page, path: Path) -> None:
    page.get_by_label("CSV file").set_input_files(path)
    page.get_by_role("button", name="Check the file").click()


def test_girths_come_in_once_mended_and_the_record_leaves(
    cast: Cast,
    page: Page,
    tmp_path: Path,
    sign_in: Callable[[User], None],
    accessible: Callable[[], None],
) -> None:
    make_protocol(name="Forearm", levels_cm=LEVELS_CM)
    client = make_client(record_number="J1")
    make_episode(client, cast.therapist, opened_on=date(2026, 1, 5))
    sign_in(cast.lead)
    page.goto("/data/")
    page.get_by_role("link", name="Import girths of all clients").click()

    check(page, spreadsheet(tmp_path, first="17,2 cm"))
    wrong = page.locator("tbody tr", has_text="17,2 cm")
    expect(wrong.locator("td").first).to_have_text("2")
    expect(page.get_by_role("heading", name="Nothing can be saved yet")).to_be_visible()
    accessible()

    check(page, spreadsheet(tmp_path, first="17,2"))
    expect(page.get_by_role("heading", name="Ready to be saved")).to_be_visible()
    accessible()
    assert not GirthReading.objects.exists()
    page.get_by_role("button", name="Save 1 session").click()
    expect(page.get_by_text("Imported 1 session.")).to_be_visible()

    page.goto(f"/clients/{client.pk}/take-out/")
    with page.expect_download() as started:
        page.get_by_role("button", name="Download the FHIR record").click()
    bundle = json.loads(started.value.path().read_bytes())
    assert schema_faults(bundle) == model_faults(bundle) == []
    panels = [
        each["resource"]
        for each in bundle["entry"]
        if each["resource"].get("code", {}).get("text") == "girths of one limb"
    ]
    taken = {
        panel["bodySite"]["text"]: [
            part["valueQuantity"]["value"] for part in panel["component"] if "valueQuantity" in part
        ]
        for panel in panels
    }
    assert taken == {"right arm": [17.2, 21.4], "left arm": [17.0, 20.3]}
