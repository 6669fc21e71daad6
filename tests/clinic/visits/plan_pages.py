"""What the tests of the pages of plans share: a typed plan, as a browser would send it."""

import json
from datetime import date, timedelta
from pathlib import Path
from typing import Any

from django.test import Client as Browser
from django.urls import reverse

from tests.builders import today

# The excess of the constructed arms that the builders tape, in percent to one decimal.
CASES = json.loads((Path(__file__).parents[2] / "published/worked_examples.json").read_text())
EXCESS = next(
    case["expected"]["display_one_decimal"].removesuffix(" %")
    for case in CASES["cases"]
    if case["expected"].get("display_one_decimal")
    and case["inputs"].get("affected_case") == "arm-4cm-affected"
)


def written(day: date) -> str:
    return f"{day:%-d %b %Y}"


def posted(**differences: Any) -> dict[str, Any]:
    """One plan with one measured goal and two empty rows, as a browser sends it."""
    said = {
        "from_on": written(today()),
        "to_on": written(today() + timedelta(days=59)),
        "visits_a_week": "5",
        "weeks": "4",
        "treatment": "Bandaging and drainage by hand.",
        "outlook": "",
        "goals-TOTAL_FORMS": "3",
        "goals-INITIAL_FORMS": "0",
        "goals-0-text": "Arm excess under 10 %",
        "goals-0-judged": "excess_percent",
        "goals-0-baseline": "18",
        "goals-0-target": "10",
        "goals-0-due_on": written(today() + timedelta(weeks=4)),
    }
    return said | differences


def page(browser: Browser, name: str, key: Any) -> str:
    response = browser.get(reverse(name, args=[key]))
    assert response.status_code == 200, response.status_code
    return response.content.decode()
