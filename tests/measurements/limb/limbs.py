"""Limbs that the tests of this folder share, and the check values they read."""

import json
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

from clinic.common.vocabulary import Side
from measurements.limb.girth import LimbGirths, Reading, limb_girths

PUBLISHED = Path(__file__).parents[2] / "published"


def published(name: str) -> Any:
    return json.loads((PUBLISHED / name).read_text(encoding="utf-8"))


WORKED = {case["id"]: case for case in published("worked_examples.json")["cases"]}
MESH_CASES = published("mesh_limb_girths.json")["cases"]
ANALYTIC_CASES = published("analytic_limbs.json")["cases"]


def every(spacing_cm: float, count: int, *, start_cm: float = 0.0) -> list[float]:
    return [start_cm + step * spacing_cm for step in range(count)]


def limb(
    levels_cm: Iterable[float], girths_cm: Sequence[float], side: Side = Side.LEFT
) -> LimbGirths:
    pairs = zip(levels_cm, girths_cm, strict=True)
    return limb_girths([Reading(side, level, girth) for level, girth in pairs], side)


def worked_limb(case_id: str, side: Side = Side.LEFT) -> LimbGirths:
    """The limb of a worked example that gives girths, at its spacing or positions."""
    inputs = WORKED[case_id]["inputs"]
    girths = inputs["circumferences_cm"]
    levels = inputs.get("positions_cm") or every(inputs["spacing_cm"], len(girths))
    return limb(levels, girths, side)


def mesh_limb(stations: Sequence[dict[str, float]], side: Side = Side.LEFT) -> LimbGirths:
    return limb([each["cm"] for each in stations], [each["girth_cm"] for each in stations], side)
