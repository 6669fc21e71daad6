"""One step of a programme, and the way it is kept as plain rows."""

from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass
from itertools import pairwise
from typing import Any

from clinic.common.vocabulary import Word


class Technique(Word):
    """How the hand works in a step."""

    BELLY_BREATHING = "belly_breathing", "Belly breathing"
    EASY_BREATHING = "easy_breathing", "Easy breathing"
    CIRCLES = "circles", "Circles on the spot"
    BRIDGING = "bridging", "Bridging strokes"
    FINGER_PASSES = "finger_passes", "Finger passes"
    SWEEP = "sweep", "Long strokes"

    @property
    def is_breathing(self) -> bool:
        return self in (Technique.BELLY_BREATHING, Technique.EASY_BREATHING)


class Chapter(Word):
    """Which part of the programme a step was planned in. The validator does not read it."""

    OPENING = "opening", "Start"
    RECEIVING = "receiving", "Wake up the areas that take the fluid"
    BRIDGES = "bridges", "Open the bridges"
    TRUNK = "trunk", "Clear the trunk"
    HEAD_NECK = "head_neck", "Clear the neck and head"
    LIMB = "limb", "Clear the limb"
    SWEEP = "sweep", "Long strokes"
    AGAIN = "again", "Once more"
    CLOSING = "closing", "Finish"


@dataclass(frozen=True)
class Step:
    """One step as planned, or as a therapist left it.

    `node` is the map id worked on, None for easy breathing, which touches nothing. `also` holds
    the same place on the other side when both are done in one step. `path` is where fluid is
    eased, place by place, beginning at `node`; empty for circles on the spot. `parts` are keys of
    `Place.parts`, worked in this order. `repetitions` count for each place and part;
    `minutes` is an estimate for the whole step, settling the hand included.
    """

    technique: Technique
    node: str | None
    chapter: Chapter
    repetitions: int
    path: tuple[str, ...] = ()
    also: tuple[str, ...] = ()
    parts: tuple[str, ...] = ()
    place: str = ""
    direction: str = ""
    hand: str = ""
    position: str = ""
    why: str = ""
    minutes: float = 0.0
    needs_helper: bool = False
    note: str = ""

    @property
    def toward(self) -> str | None:
        """The map id in which the stroke ends, None for a step on the spot."""
        return self.path[-1] if self.path else None

    @property
    def nodes(self) -> tuple[str, ...]:
        """Every place this step works on, without those it only moves toward."""
        return (*((self.node,) if self.node else ()), *self.also)

    @property
    def moves(self) -> tuple[tuple[str, str], ...]:
        """The single moves of fluid, place to place."""
        return tuple(pairwise(self.path))

    @property
    def touched(self) -> frozenset[str]:
        """Every place the hand or the stroke reaches."""
        return frozenset((*self.nodes, *self.path))


def rows_of(steps: Iterable[Step]) -> list[dict[str, Any]]:
    """Steps as plain rows, ready for a JSON column."""
    return [asdict(step) for step in steps]


def steps_of(rows: Iterable[Mapping[str, Any]]) -> tuple[Step, ...]:
    """Steps from plain rows; the opposite of `rows_of`. Raises ValueError on an unknown word."""
    return tuple(_step_of(row) for row in rows)


def _step_of(row: Mapping[str, Any]) -> Step:
    return Step(
        **{
            **row,
            "technique": Technique(row["technique"]),
            "chapter": Chapter(row["chapter"]),
            "path": tuple(row["path"]),
            "also": tuple(row["also"]),
            "parts": tuple(row["parts"]),
        }
    )
