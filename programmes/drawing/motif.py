"""What one drawing has to show, always told for the left; the right is drawn as its mirror."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Protocol


class Stroke(Protocol):
    """The part of a programme's step that a drawing reads.

    `node` is the map id worked on, `also` the same place on the other side, `path` the ids the
    fluid is eased along beginning at `node` (empty on the spot), `parts` keys of parts of `node`.
    """

    @property
    def technique(self) -> str: ...
    @property
    def node(self) -> str | None: ...
    @property
    def also(self) -> Sequence[str]: ...
    @property
    def path(self) -> Sequence[str]: ...
    @property
    def parts(self) -> Sequence[str]: ...


@dataclass(frozen=True)
class Motif:
    """A stroke with its main side turned to the left."""

    technique: str
    node: str | None
    also: tuple[str, ...] = ()
    path: tuple[str, ...] = ()
    parts: tuple[str, ...] = ()

    @property
    def places(self) -> tuple[str, ...]:
        """The places worked on."""
        return (*((self.node,) if self.node else ()), *self.also)

    @property
    def target(self) -> str | None:
        """The place in which the arrow ends; None on the spot."""
        return self.path[-1] if len(self.path) > 1 else None

    @property
    def is_breathing(self) -> bool:
        return self.node is None or self.technique.endswith("breathing")

    @property
    def has_hands(self) -> bool:
        """True when both hands rest on the belly."""
        return self.node is not None and self.is_breathing

    def one_side(self) -> "Motif":
        """Without the same place on the other side."""
        return replace(self, also=())

    def turned(self) -> "Motif":
        """The same stroke on the other side."""
        return Motif(
            technique=self.technique,
            node=turned_id(self.node) if self.node else None,
            also=tuple(map(turned_id, self.also)),
            path=tuple(map(turned_id, self.path)),
            parts=self.parts,
        )


def turned_id(node: str) -> str:
    """The id of the same place on the other side; a place in the midline is its own."""
    for end, other in (("_L", "_R"), ("_R", "_L")):
        if node.endswith(end):
            return node.removesuffix(end) + other
    return node


def stem(node: str) -> str:
    """The id without its side."""
    return node.removesuffix("_L").removesuffix("_R")


def motif_of(stroke: Stroke) -> tuple[Motif, bool]:
    """The motif told for the left, and whether the stroke itself is its mirror."""
    motif = Motif(
        technique=str(stroke.technique),
        node=stroke.node,
        also=tuple(stroke.also),
        path=tuple(stroke.path),
        parts=tuple(stroke.parts),
    )
    named = (*motif.places, *motif.path)
    is_right = next((node.endswith("_R") for node in named if node[-2:] in ("_L", "_R")), False)
    return (motif.turned(), True) if is_right else (motif, False)
