"""What the tests of the entry screen share: a typed page, as a browser would send it."""

from collections.abc import Iterable
from datetime import date

from django.urls import reverse

from clinic.clients.models import Episode
from measurements.models import Protocol
from tests.builders import ARM_LEVELS_CM, ARM_OTHER_CM, today

# The girths of the builders' swollen arm with a wrist that nobody asks about (17.74 cm is the
# 99.5 percentile of women, tests/published/girth_percentiles.json).
RIGHT_CM = [17.2, 18.6, 21.4, 24.0, 26.3, 27.5, 27.8, 28.4, 29.6, 31.2, 32.5]
LEFT_CM = ARM_OTHER_CM


def girths_typed(side: str, girths: Iterable[object]) -> dict[str, str]:
    """One limb's fields, first taping, distal first."""
    levels = zip(ARM_LEVELS_CM, girths, strict=False)
    return {f"girth-{side}-{level}-1": str(girth) for level, girth in levels}


def page_typed(protocol: Protocol, **differences: str) -> dict[str, str]:
    """A complete page of an arm session; a name with __ stands for a dash."""
    facts = {
        "protocol": str(protocol.pk),
        "sides": "both",
        "trials": "1",
        "length_unit": "cm",
        "weight_unit": "kg",
        "taken_on": today().isoformat(),
        "taken_at": "10:15",
        "posture": "sitting",
        "weight": "70,5",
        "note": "",
    }
    girths = girths_typed("right", RIGHT_CM) | girths_typed("left", LEFT_CM)
    own = {name.replace("__", "-"): text for name, text in differences.items()}
    return facts | girths | own


def recording(protocol: Protocol, **differences: str) -> dict[str, str]:
    return page_typed(protocol, **differences) | {"do": "record"}


def enter_address(episode: Episode, limb: str = "arm") -> str:
    return reverse("girths-enter", args=[episode.pk]) + f"?limb={limb}"


def day_before(day: date, days: int) -> date:
    return date.fromordinal(day.toordinal() - days)
