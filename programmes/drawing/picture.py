"""The drawings of one step: shapes in page units, words for the eye and for a screen reader.

Every point goes through one formula (notes in `outlines.json`): page_x = cx + scale * x_sign * x,
page_y = cy - scale * y. A front view faces the reader, so the left of the body is on the right.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache
from math import atan2, cos, dist, sin

from programmes.drawing.arrows import BEHIND_EAR, Way, ways_of
from programmes.drawing.breathing import ELBOW, belly, body, hands
from programmes.drawing.geometry import (
    Line,
    Point,
    arc,
    box_of,
    clipped,
    hatched,
    shortened,
    simplified,
)
from programmes.drawing.motif import Motif, Stroke, motif_of, stem
from programmes.drawing.outlines import Outline, landmark_of, outlines
from programmes.drawing.views import PICTURE_HEIGHT, PICTURE_WIDTH, Shot, drawable, shots_of
from programmes.drawing.words import Label, described, labels_of, titled

BAND_HEIGHT = 28.0
HATCH_GAP = 7.0
SHAFT_WIDTH = 6.5
HEAD_LENGTH = 17.0
HEAD_HALF_WIDTH = 10.5
THIN = 0.55
ROUND = 0.75
CUT_MARGIN = 6.0
SMALLEST = 0.65
FULL_SIZE_LENGTH = 36.0
# Points nearer to the line than this are dropped, page units and cm.
TOLERANCE = 0.35
LOCATOR_CM = 0.8
LANDMARK_RADIUS = 7.0
LOCATOR_SCALE = 0.46


@dataclass(frozen=True)
class Shape:
    """Lines in page units; `d` is their path data."""

    lines: tuple[Line, ...] = ()
    is_closed: bool = False

    @cached_property
    def d(self) -> str:
        """SVG path data, rounded to a tenth of a page unit. Empty without lines."""
        end = "z" if self.is_closed else ""
        return "".join(
            "M" + " ".join(f"{x:.1f},{y:.1f}" for x, y in line) + end for line in self.lines
        )

    def turned(self) -> "Shape":
        return replace(self, lines=tuple(map(_turned, self.lines)))


@dataclass(frozen=True)
class Arrow:
    """A shaft of some width, and its head; both lie on a wider white one, `halo_width`."""

    shaft: Shape
    head: Shape
    width: float

    @property
    def halo_width(self) -> float:
        return self.width * 1.75

    def turned(self) -> "Arrow":
        return replace(self, shaft=self.shaft.turned(), head=self.head.turned())


@dataclass(frozen=True)
class Drawing:
    """One picture, page units; y runs down. `view` names the figure shown.

    Painted in this order: `body`, `shaded` with its `hatch`, `target`, `lines`, `hands`, `arrows`,
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
    hands: Shape
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
            hands=self.hands.turned(),
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
    return tuple(
        replace(
            _on_its_side(motif, shot, is_turned),
            title=titled(told, shot.view, names),
            description=described(told, names),
        )
        for shot in shots_of(motif)
    )


@lru_cache(maxsize=1024)
def _on_its_side(motif: Motif, shot: Shot, is_turned: bool) -> Drawing:
    drawing = _drawn(motif, shot)
    return drawing.turned() if is_turned else drawing


def _drawn(motif: Motif, shot: Shot) -> Drawing:
    """The picture of a motif told for the left, without its sentences."""
    shaded = _shaded(motif, shot)
    located = not (shot.outline.is_whole and shot.is_symmetric) and shot.view != "head_side"
    return Drawing(
        view=shot.view,
        title="",
        description="",
        body=_body(shot, motif.has_hands),
        shaded=Shape(shaded, is_closed=True),
        hatch=Shape(hatched(shaded, gap=HATCH_GAP)),
        target=Shape(_target(motif, shot), is_closed=True),
        lines=_decoration(shot, motif.has_hands),
        hands=Shape(_fewer(_on_page(hands(), shot))) if motif.has_hands else Shape(),
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


def _fewer(lines: Iterable[Line]) -> tuple[Line, ...]:
    return tuple(simplified(line, TOLERANCE) for line in lines)


@lru_cache(maxsize=64)
def _body(shot: Shot, with_hands: bool) -> Shape:
    """What lies in the frame; cut edges lie outside the picture, where they are not seen."""
    box = shot.frame.widened(CUT_MARGIN / shot.scale)
    lines = body() if with_hands else (shot.outline.outline,)
    return Shape(_fewer(_on_page([clipped(line, box) for line in lines], shot)), is_closed=True)


@lru_cache(maxsize=64)
def _decoration(shot: Shot, with_hands: bool) -> Shape:
    seen = shot.frame._replace(left=-ELBOW[0] / 2, right=ELBOW[0] / 2) if with_hands else shot.frame
    lines = [line for line in shot.outline.lines.values() if seen.meets(box_of(line))]
    return Shape(_fewer(_on_page(lines, shot)))


def _worked(motif: Motif) -> tuple[str, ...]:
    """A sweep works on the whole limb, every other stroke on its first place."""
    return motif.path[:-1] if motif.technique == "sweep" else motif.places


def _shaded(motif: Motif, shot: Shot) -> tuple[Line, ...]:
    if motif.has_hands:
        return _on_page([belly()], shot)
    with_wrist = "wrist" in motif.parts
    return tuple(line for node in _worked(motif) for line in _region(node, shot, with_wrist))


def _target(motif: Motif, shot: Shot) -> tuple[Line, ...]:
    return _region(motif.target, shot, False) if motif.target else ()


@lru_cache(maxsize=1024)
def _region(node: str, shot: Shot, with_wrist: bool) -> tuple[Line, ...]:
    """The region of a place; the wrist with the hand; a disc where the map has no skin."""
    outline = shot.outline
    if "behind_ear" in shot.parts and shot.view == "head_side":
        lines: Iterable[Line] = (_disc(BEHIND_EAR, shot),) if node == "cervical_L" else ()
    else:
        lines = outline.regions.get(node) or (_disc(outline.spots[landmark_of(node)], shot),)
    if stem(node) == "hand" and with_wrist:
        lines = (*lines, *outline.extra.get("wrist_L", ()))
    return _fewer(_on_page(lines, shot))


def _disc(spot: Point, shot: Shot) -> Line:
    return arc(spot, LANDMARK_RADIUS / shot.scale, start_deg=0, sweep_deg=345)


def _arrow(way: Way, shot: Shot) -> Arrow:
    """The shaft stops inside the head, whose tip is the end of the way."""
    (line,) = _on_page([way.line], shot)
    size = _size(way, line)
    _, neck = shortened(line, HEAD_LENGTH * size)
    shaft, _ = shortened(line, HEAD_LENGTH * size * 0.8)
    head = Shape((_head(line[-1], neck, size),), is_closed=True)
    return Arrow(Shape((shaft,)), head, width=SHAFT_WIDTH * size)


def _size(way: Way, line: Line) -> float:
    """Of head and shaft; a short arrow is drawn smaller, so its shaft is still seen."""
    if way.is_thin or way.is_round:
        return THIN if way.is_thin else ROUND
    return max(SMALLEST, min(1.0, dist(line[0], line[-1]) / FULL_SIZE_LENGTH))


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
    lines = [_small_figure(view)] if motif is None else _places_on(view, motif)
    return Shape(
        tuple(
            tuple(
                (x_on_page + LOCATOR_SCALE * view.x_sign * x, 82 - LOCATOR_SCALE * y)
                for x, y in line
            )
            for line in lines
        ),
        is_closed=True,
    )


@lru_cache(maxsize=2)
def _small_figure(view: Outline) -> Line:
    half = len(view.outline) // 2
    first, second = view.outline[: half + 1], view.outline[half:]
    return (*simplified(first, LOCATOR_CM), *simplified(second, LOCATOR_CM)[1:])


def _places_on(view: Outline, motif: Motif) -> list[Line]:
    return [line for node in _worked(motif) for line in view.regions.get(node, ())]
