"""The figures of `outlines.json`: one definition a side, the other is its mirror."""

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache, cached_property
from pathlib import Path
from typing import Any

from programmes.drawing.geometry import Edge, Line, Point, all_inside, edges_of, mirrored

OUTLINES = Path(__file__).with_name("outlines.json")


@dataclass(frozen=True, eq=False)
class Outline:
    """One view of the figure, in cm. `is_whole` views hold both sides, the others the left only.

    `regions` and `extra` are closed polygons by id; `spots` are named points.
    """

    name: str
    is_whole: bool
    x_sign: int
    outline: Line
    regions: Mapping[str, tuple[Line, ...]]
    extra: Mapping[str, tuple[Line, ...]]
    spots: Mapping[str, Point]
    lines: Mapping[str, Line]

    @cached_property
    def edges(self) -> tuple[Edge, ...]:
        return tuple(edges_of(self.outline))

    def holds(self, line: Line) -> bool:
        """True if every point lies in the body."""
        return all_inside(line, self.edges)


def landmark_of(node: str) -> str:
    """The spot that stands for a place that is no skin area."""
    return "at_" + node.replace("venous_angle", "vein_junction").replace(
        "deep_abdomen", "belly_centre"
    )


@cache
def outlines() -> Mapping[str, Outline]:
    """Every view by name, read once. Raises OSError or KeyError on a broken file."""
    views = json.loads(OUTLINES.read_text(encoding="utf-8"))["views"]
    return {name: _outline(name, entry) for name, entry in views.items()}


def _outline(name: str, entry: Mapping[str, Any]) -> Outline:
    whole = entry["whole"]
    half = _line(entry["outline"])
    return Outline(
        name=name,
        is_whole=whole,
        x_sign=entry["x_sign"],
        outline=(*half, *reversed(mirrored(half[1:-1]))) if whole else half,
        regions=_both_sides(entry["regions"], whole, polygons=True),
        extra=_both_sides(entry["extra"], whole, polygons=True),
        spots={name: line[0] for name, line in _points(entry["spots"], whole).items()},
        lines=_both_sides(entry["lines"], whole, polygons=False),
    )


def _line(points: Iterable[Iterable[float]]) -> Line:
    return tuple((x, y) for x, y in points)


def _points(spots: Mapping[str, Any], whole: bool) -> dict[str, Line]:
    return _both_sides({name: [spot] for name, spot in spots.items()}, whole, polygons=False)


def _both_sides(entries: Mapping[str, Any], whole: bool, *, polygons: bool) -> dict[str, Any]:
    """Each entry under its left name and, in a whole view, its mirror under the right name."""
    found: dict[str, Any] = {}
    for name, entry in entries.items():
        lines = tuple(_line(part) for part in entry) if polygons else _line(entry)
        found[name.replace("{s}", "L")] = lines
        if whole and "{s}" in name:
            flipped = tuple(map(mirrored, lines)) if polygons else mirrored(lines)  # type: ignore[arg-type]
            found[name.replace("{s}", "R")] = flipped
    return found
