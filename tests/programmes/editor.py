"""What the tests of the pages share: the editor of a draft, as a browser would send it."""

from typing import Any

from django.urls import reverse

from programmes.body.steps import steps_of
from programmes.models import Programme

HTMX = {"HTTP_HX_REQUEST": "true"}


def page(programme: Programme) -> str:
    return reverse("programme", args=[programme.pk])


def fields(programme: Programme, **differences: Any) -> dict[str, Any]:
    """What the editor sends when nothing was touched."""
    sent: dict[str, Any] = {
        "revision": programme.revision,
        "times_a_day": programme.times_a_day,
        "skin_care": programme.skin_care,
        "wear_schedule": programme.wear_schedule,
        "breathing": programme.breathing,
        "stop_and_call": programme.stop_and_call,
        "exercise_ids": programme.exercise_ids,
    }
    for index, step in enumerate(steps_of(programme.steps)):
        sent[f"s{index}-repetitions"] = step.repetitions
        sent[f"s{index}-minutes"] = f"{step.minutes:.1f}"
        sent[f"s{index}-note"] = step.note
    return sent | {name.replace("__", "-"): value for name, value in differences.items()}
