"""What the tests of the visit page share: a typed page, as a browser would send it."""

from typing import Any

from django.urls import reverse

from clinic.visits.models import VisitNote
from tests.clinic.visits.charting import PLANNED, SAID, service

SCRIPT = {"HX-Request": "true"}
OTHER = "Heavy forearm, by another hand."


def page_of(note: VisitNote, name: str = "visit") -> str:
    return reverse(name, args=[note.pk])


def posted(note: VisitNote, **differences: Any) -> dict[str, Any]:
    """The whole page as a browser sends it, one treatment and one empty line."""
    values = {
        "revision": note.revision,
        "visit_min": "60",
        "subjective": SAID,
        "observations": "",
        "response": "",
        "plan": PLANNED,
        "service": [str(service().pk), ""],
        "minutes": ["40", ""],
        "remark": ["right arm", ""],
    }
    return values | differences


def body(response: Any) -> str:
    return response.content.decode()
