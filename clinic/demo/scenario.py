"""The scenario as fixtures/demo tells it: frozen values, days counted from today backwards. Pure.

A story's days are whole numbers, 0 is today, -30 thirty days ago. What a key means stands in
fixtures/demo/README.md.
"""

import json
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from uuid import NAMESPACE_URL, UUID, uuid5

from clinic.common.vocabulary import Limb, Posture, Sex, Side
from clinic.demo.shape import Body, Knots

FOLDER = Path(__file__).resolve().parents[2] / "fixtures" / "demo"
NAMES = uuid5(NAMESPACE_URL, "https://example.org/invented-clinic")
NOT_STORIES = {"clinic.json", "5_desk.json", "6_charting.json"}


@dataclass(frozen=True)
class Taping:
    """How one kind of limb is taped through a story, and what it looks like meanwhile."""

    limb: Limb
    protocol: str
    build: float
    place: str
    weight_kg: Knots
    swelling_percent: dict[Side, Knots]
    days: tuple[int, ...]
    posture: Posture
    in_inches: bool = False
    struck: dict[int, str] = field(default_factory=dict)
    notes: dict[int, str] = field(default_factory=dict)
    unfinished: dict[str, Any] | None = None

    def body(self, sex: Sex) -> Body:
        return Body(self.limb, sex, self.build, self.place, self.weight_kg, self.swelling_percent)


@dataclass(frozen=True)
class Story:
    """One client: who, what was done, and what happened on which day."""

    name: str
    tells: str
    client: dict[str, str]
    episode: dict[str, Any]
    registered: int
    in_working_days: bool
    tapings: tuple[Taping, ...]
    not_the_same_as: tuple[str, ...] = ()
    treatments: tuple[dict[str, Any], ...] = ()
    precautions: tuple[dict[str, Any], ...] = ()
    phases: tuple[dict[str, Any], ...] = ()
    findings: tuple[dict[str, Any], ...] = ()
    letters: tuple[dict[str, Any], ...] = ()

    @property
    def client_id(self) -> UUID:
        return demo_id("client", self.name)

    @property
    def sex(self) -> Sex:
        return Sex(self.client["sex"])

    @property
    def opened(self) -> int:
        return int(self.episode["opened"])


def demo_id(kind: str, name: str) -> UUID:
    """The fixed id of an invented row, by which a second run knows the demo again."""
    return uuid5(NAMES, f"{kind}:{name}")


def clinic() -> dict[str, Any]:
    """The practice, its staff, referrers and protocols."""
    return _read("clinic.json")


def desk() -> dict[str, Any]:
    """What the front desk has: rooms, hours, appointments, wait list."""
    return _read("5_desk.json")


def charting() -> dict[str, Any]:
    """What was charted, by story, and the clinic's own size chart."""
    return _read("6_charting.json")


def size_chart() -> bytes:
    """The clinic's own size chart as a file."""
    return (FOLDER / "sleeve_sizes.csv").read_bytes()


def _read(name: str) -> dict[str, Any]:
    told: dict[str, Any] = json.loads((FOLDER / name).read_text(encoding="utf-8"))
    return told


def stories() -> list[Story]:
    """Every story, in the order of the files."""
    return [_story(told) for told in _told()]


def _told() -> Iterator[dict[str, Any]]:
    for path in sorted(FOLDER.glob("*.json")):
        if path.name not in NOT_STORIES:
            yield from json.loads(path.read_text(encoding="utf-8"))


def _story(told: dict[str, Any]) -> Story:
    several = ("not_the_same_as", "treatments", "precautions", "phases", "findings", "letters")
    return Story(
        name=told["story"],
        tells=told["tells"],
        client=told["client"],
        episode=told["episode"],
        registered=told.get("registered", told["episode"]["opened"] - 3),
        in_working_days=told.get("in_working_days", False),
        tapings=tuple(_taping(each) for each in told.get("tapings", ())),
        **{key: tuple(told.get(key, ())) for key in several},
    )


def _taping(told: dict[str, Any]) -> Taping:
    limb = Limb(told["limb"])
    lying_or_sitting = Posture.SITTING if limb is Limb.ARM else Posture.LYING
    return Taping(
        limb=limb,
        protocol=told["protocol"],
        build=told["build"],
        place=told["place"],
        weight_kg=[tuple(knot) for knot in told["weight_kg"]],
        swelling_percent={
            Side(side): [tuple(knot) for knot in knots]
            for side, knots in told.get("swelling_percent", {}).items()
        },
        days=tuple(told["days"]),
        posture=Posture(told.get("posture", lying_or_sitting)),
        in_inches=told.get("in_inches", False),
        struck={int(day): reason for day, reason in told.get("struck", {}).items()},
        notes={int(day): note for day, note in told.get("notes", {}).items()},
        unfinished=told.get("unfinished"),
    )
