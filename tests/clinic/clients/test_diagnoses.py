"""The short list of diagnoses against an outside copy of the official table.

Outside table: the package simple_icd_10_cm, which carries the US government's ICD-10-CM release.
"""

import pytest
import simple_icd_10_cm as icd

from clinic.clients.diagnoses import DIAGNOSES


@pytest.mark.parametrize("code", DIAGNOSES)
def test_the_code_is_in_the_official_table(code: str) -> None:
    assert icd.is_valid_item(code)


@pytest.mark.parametrize("code", DIAGNOSES)
def test_the_code_is_billable(code: str) -> None:
    assert icd.is_leaf(code), f"{code} has subcodes: {icd.get_children(code)}"


@pytest.mark.parametrize(("code", "description"), DIAGNOSES.items())
def test_the_description_is_the_official_one(code: str, description: str) -> None:
    assert icd.get_description(code) == description
