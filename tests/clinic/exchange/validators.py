"""The two outside validators of FHIR: neither finds what the other finds, so both are asked.

fhir.resources has no models of plain R4, only of R4B (4.3.0): of the resource types used here R4B
changes nothing that we write (checked by the R4 schema beside it). The schema is the official one
of R4 (4.0.1), see tests/published/README.md.
"""

import json
from functools import cache
from pathlib import Path
from typing import Any

from fhir.resources.R4B import get_fhir_model_class
from jsonschema import Draft6Validator
from pydantic import ValidationError

PUBLISHED = Path(__file__).parents[2] / "published"


@cache
def _schema() -> dict[str, Any]:
    return json.loads((PUBLISHED / "fhir_r4_schema.json").read_text(encoding="utf-8"))


@cache
def _validator(kind: str) -> Draft6Validator:
    whole = _schema()
    return Draft6Validator(
        {
            "$schema": whole["$schema"],
            "definitions": whole["definitions"],
            "$ref": f"#/definitions/{kind}",
        }
    )


def schema_faults(resource: dict[str, Any], kind: str = "") -> list[str]:
    errors = _validator(kind or resource["resourceType"]).iter_errors(resource)
    return [f"{list(error.absolute_path)} {error.message[:200]}" for error in errors]


def model_faults(resource: dict[str, Any], kind: str = "") -> list[str]:
    try:
        get_fhir_model_class(kind or resource["resourceType"]).model_validate(resource)
    except ValidationError as error:
        return [str(error)]
    return []
