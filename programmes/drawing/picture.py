"""The drawings of one step: shapes in page units, words for the eye and for a screen reader.

Every point goes through one formula (notes in `outlines.json`): page_x = cx + scale * x_sign * x,
page_y = cy - scale * y. A front view faces the reader, so the left of the body is on the right.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from math import atan2, cos, sin

from programmes.drawing.arrows import Way, ways_of
from programmes.drawing.breathing import arms, belly, torso
from programmes.drawing.geometry import Line, Point, arc, hatched, shortened
from programmes.drawing.motif import Motif, Stroke, motif_of, stem
from programmes.drawing.outlines import Outline, outlines
from programmes.drawing.views import PICTURE_HEIGHT, PICTURE_WIDTH, Shot, drawable, shots_of
from programmes.drawing.words import Label, described, labels_of, titled

BAND_HEIGHT = 28.0
HATCH_GAP = 7.0
HEAD_LENGTH = 17.0
HEAD_HALF_WIDTH = 10.5
THIN = 0.62
LANDMARK_RADIUS = 7.0
LOCATOR_SCALE = 0.42


@dataclass(frozen=True)
class Shape:
    """Lines in page units; `d` is their path data."""

    lines: tuple[Line, ...] = ()
    is_closed: bool = False

    @property
    def d(self) -> str:
        """SVG path data, rounded to a tenth of a page unit. Empty without lines."""
        end = "z" if self.is_closed else ""
        return "".join("M" + " ".join(f"{x:.1f},{y:.1f}" for x, y in line) + end for line in self.lines)

    def turned(self) -> "Shape":
        return replace(self, lines=tuple(map(_turned, self.lines)))


@dataclass(frozen=True)
class Arrow:
    """A shaft, its head, and the point it ends in."""

    shaft: Shape
    head: Shape
    is_thin: bool = False

    def turned(self) -> "Arrow":
        return replace(self, shaft=self.shaft.turned(), head=self.head.turned())


@dataclass(frozen=True)
class Drawing:
    """One picture, page units; y runs down. `view` names the figure shown.

    Painted in this order: `body`, `shaded` with its `hatch`, `target`, `lines`, `arms`, `arrows`,
    `locator_body` with `locator_spot`, `labels`. `title` and `description` are for screen readers.
    """

    view: str
    title: str
    description: str
    body: Shape
    shaded: Shape
    hatch: Shape
    target: Shape
    lines: Shape
    arms: tuple[Shape, ...]
    arrows: tuple[Arrow, ...]
    locator_body: Shape
    locator_spot: Shape
    labels: tuple[Label, ...] = ()
    width: int = int(PICTURE_WIDTH)
    height: int = int(PICTURE_HEIGHT + BAND_HEIGHT)
    picture_height: int = int(PICTURE_HEIGHT)

    @property
    def view_box(self) -> str:
        return f"0 0 {self.width} {self.height}"

    def turned(self) -> "Drawing":
        """The mirror image: left and right change places, in the shapes and in the labels."""
        return replace(
            self,
            body=self.body.turned(),
            shaded=self.shaded.turned(),
            hatch=self.hatch.turned(),
            target=self.target.turned(),
            lines=self.lines.turned(),
            arms=tuple(arm.turned() for arm in self.arms),
            arrows=tuple(arrow.turned() for arrow in self.arrows),
            locator_body=self.locator_body.turned(),
            locator_spot=self.locator_spot.turned(),
            labels=tuple(label.turned(PICTURE_WIDTH) for label in self.labels),
        )


def _turned(line: Line) -> Line:
    return tuple((PICTURE_WIDTH - x, y) for x, y in line)


def drawings_of(stroke: Stroke, names: Mapping[str, str]) -> tuple[Drawing, ...]:
    """The pictures of one step: one, or one for each surface that its parts lie on.

    `names` gives the plain name of each map id, for the title and the description.
    Raises LookupError when a place is in no view of the figure.
    """
    motif, is_turned = motif_of(stroke)
    told = motif.turned() if is_turned else motif
    motif = drawable(motif)
    drawings = []
    for shot in shots_of(motif):
        drawing = _drawn(motif, shot)
        drawings.append(
            replace(
                drawing.turned() if is_turned else drawing,
                title=titled(told, shot.view, names),
                description=described(told, names),
            )
        )
    return tuple(drawings)


@lru_cache(maxsize=1024)
def _drawn(motif: Motif, shot: Shot) -> Drawing:
    """The picture of a motif told for the left, without its sentences."""
    shaded = _on_page(_shaded(motif, shot), shot)
    is_breathing = motif.technique == "belly_breathing"
    located = not (shot.outline.is_whole and shot.is_symmetric) and shot.view != "head_side"
    return Drawing(
        view=shot.view,
        title="",
        description="",
        body=_body(shot, is_breathing),
        shaded=Shape(shaded, is_closed=True),
        hatch=Shape(hatched(shaded, gap=HATCH_GAP)),
        target=Shape(_on_page(_target(motif, shot), shot), is_closed=True),
        lines=_decoration(shot),
        arms=tuple(
            Shape(_on_page([arm], shot), is_closed=True) for arm in (arms() if is_breathing else ())
        ),
        arrows=tuple(_arrow(way, shot) for way in ways_of(motif, shot)),
        locator_body=_locator(shot, None) if located else Shape(),
        locator_spot=_locator(shot, motif) if located else Shape(),
        labels=labels_of(motif, shot),
    )


def _on_page(lines: Iterable[Line], shot: Shot) -> tuple[Line, ...]:
    """The one formula from cm on the figure to page units."""
    frame, sign, scale = shot.frame, shot.outline.x_sign, shot.scale
    cx = PICTURE_WIDTH / 2 - scale * sign * (frame.left + frame.right) / 2
    cy = scale * frame.high
    return tuple(tuple((cx + scale * sign * x, cy - scale * y) for x, y in line) for line in lines)


@lru_cache(maxsize=64)
def _body(shot: Shot, without_arms: bool) -> Shape:
    outline = torso() if without_arms else shot.outline.outline
    return Shape(_on_page([outline], shot), is_closed=True)


@lru_cache(maxsize=64)
def _decoration(shot: Shot) -> Shape:
    return Shape(_on_page(shot.outline.lines.values(), shot))


def _shaded(motif: Motif, shot: Shot) -> list[Line]:
    if motif.technique == "belly_breathing":
        return [belly()]
    places = motif.path[:-1] if motif.technique == "sweep" else motif.places
    return [line for node in places for line in _region(node, shot, motif)]


def _region(node: str, shot: Shot, motif: Motif) -> Iterable[Line]:
    """The region of a place; the wrist with the hand; a disc where the map has no skin."""
    outline = shot.outline
    lines = outline.regions.get(node) or (_disc(node, outline, shot),)
    if stem(node) == "hand" and "wrist" in motif.parts:
        return (*lines, *outline.extra.get("wrist_L", ()))
    return lines


def _disc(node: str, outline: Outline, shot: Shot) -> Line:
    landmark = node.replace("venous_angle", "vein_junction").replace("deep_abdomen", "belly_centre")
    radius_cm = LANDMARK_RADIUS / shot.scale
    return arc(outline.spots[f"at_{landmark}"], radius_cm, start_deg=0, sweep_deg=345)


def _target(motif: Motif, shot: Shot) -> list[Line]:
    if motif.target is None:
        return []
    return list(_region(motif.target, shot, replace(motif, parts=())))


def _arrow(way: Way, shot: Shot) -> Arrow:
    """The shaft stops inside the head, whose tip is the end of the way."""
    (line,) = _on_page([way.line], shot)
    size = THIN if way.is_thin else 0.8 if way.is_round else 1.0
    _, neck = shortened(line, HEAD_LENGTH * size)
    shaft, _ = shortened(line, HEAD_LENGTH * size * 0.8)
    return Arrow(
        Shape((shaft,)), Shape((_head(line[-1], neck, size),), is_closed=True), way.is_thin
    )


def _head(tip: Point, neck: Point, size: float) -> Line:
    towards = atan2(tip[1] - neck[1], tip[0] - neck[0])
    side_x, side_y = -sin(towards) * HEAD_HALF_WIDTH * size, cos(towards) * HEAD_HALF_WIDTH * size
    back_x = tip[0] - cos(towards) * HEAD_LENGTH * size
    back_y = tip[1] - sin(towards) * HEAD_LENGTH * size
    return (tip, (back_x + side_x, back_y + side_y), (back_x - side_x, back_y - side_y))


def _locator(shot: Shot, motif: Motif | None) -> Shape:
    """A small whole figure at the outer edge, or the worked places on it."""
    view = outlines()["back" if shot.view in ("back", "hand_back") else "front"]
    x_on_page = PICTURE_WIDTH - 32 if view.x_sign == shot.outline.x_sign == 1 else 32
    lines = [view.outline[::2]] if motif is None else _places_on(view, motif)
    return Shape(
        tuple(
            tuple(
                (x_on_page + LOCATOR_SCALE * view.x_sign * x, 76 - LOCATOR_SCALE * y)
                for x, y in line
            )
            for line in lines
        ),
        is_closed=True,
    )


def _places_on(view: Outline, motif: Motif) -> list[Line]:
    nodes = motif.path[:-1] if motif.technique == "sweep" else motif.places
    return [line for node in nodes for line in view.regions.get(node, ())]
