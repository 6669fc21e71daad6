"""Geometry of the limb drawing: both limbs from the front, true to scale. Plain Python.

One drawing unit is 1 mm. The reader faces the client, so the client's right limb stands on the
left. The radius at a level is girth / (2 pi), as in the volumes: sections taken as circles.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import pi

from clinic.common.vocabulary import Side, Word
from measurements.limb.comparison import Comparison, Verdict, compare_limbs
from measurements.limb.error import TAPE_ERRORS
from measurements.limb.girth import LimbGirths
from measurements.limb.volume import Section, SegmentVolume, segment_volumes
from measurements.report import GirthRow, SessionReport

UNITS_PER_CM = 10.0
SIDE_MARGIN = 126.0  # room for "+123 mL" outside each limb
CENTRE_GAP = 190.0  # room for the station labels between the limbs
TOP_MARGIN = 34.0
BOTTOM_MARGIN = 30.0
LEAST_LABEL_GAP = 17.0

# Steps of colour only, so that a long limb can be read at a glance; common practice, no source.
MORE_FROM_PERCENT = 10.0
MUCH_MORE_FROM_PERCENT = 20.0


class Band(Word):
    """How a segment of the affected limb compares with the same segment of the other."""

    LESS = "less", "smaller, beyond measurement error"
    ALIKE = "alike", "within measurement error"
    SOME = "some", "larger, under 10 %"
    MORE = "more", "larger, 10 to 20 %"
    MUCH = "much", "larger, 20 % or more"
    PLAIN = "plain", "not compared"


@dataclass(frozen=True)
class OutlineSegment:
    """One truncated cone seen from the front; `points` as an SVG polygon wants them."""

    points: str
    band: Band
    from_cm: float
    to_cm: float
    ml: float
    excess_ml: float | None
    label_y: float
    has_label: bool


@dataclass(frozen=True)
class OutlineLimb:
    """One limb: its middle line, its segments from the distal end, where its labels stand."""

    side: Side
    is_affected: bool
    centre_x: float
    label_x: float
    label_anchor: str
    segments: tuple[OutlineSegment, ...]


@dataclass(frozen=True)
class OutlineStation:
    """One tape level: a line across each limb, the label between the limbs."""

    level_cm: float
    y: float
    text_y: float
    difference_cm: float | None
    tape_lines: tuple[tuple[float, float], ...]  # (from x, to x) across each limb
    has_label: bool


@dataclass(frozen=True)
class Outline:
    """The whole drawing in units of 1 mm; `key` keeps the ids of several drawings apart."""

    key: str
    width: float
    height: float
    middle_x: float
    level_x: float
    difference_x: float
    name_y: float
    foot_y: float
    limbs: tuple[OutlineLimb, ...]
    stations: tuple[OutlineStation, ...]
    bands: tuple[Band, ...]


@dataclass(frozen=True)
class _Frame:
    """Where levels and limbs lie on the sheet."""

    lowest_cm: float
    highest_cm: float
    widest: float  # diameter of the widest girth, units

    def y(self, level_cm: float) -> float:
        """The distal end is at the bottom: the limb hangs or stands."""
        return TOP_MARGIN + (self.highest_cm - level_cm) * UNITS_PER_CM

    @property
    def middle_x(self) -> float:
        return SIDE_MARGIN + self.widest + CENTRE_GAP / 2

    def centre_x(self, side: Side) -> float:
        """The client's right on the reader's left."""
        away = CENTRE_GAP / 2 + self.widest / 2
        return self.middle_x - away if side is Side.RIGHT else self.middle_x + away


def outline_of(report: SessionReport, *, key: str = "outline") -> Outline | None:
    """The drawing of a session; None when no limb was taped."""
    taped = [girths for girths in (report.right_girths, report.left_girths) if girths]
    if not taped:
        return None
    frame = _frame(taped)
    limbs = tuple(_limb(girths, report, frame) for girths in taped)
    shown = {segment.band for limb in limbs for segment in limb.segments}
    return Outline(
        key=key,
        width=2 * frame.middle_x,
        height=frame.y(frame.lowest_cm) + BOTTOM_MARGIN,
        middle_x=frame.middle_x,
        level_x=frame.middle_x - 10,
        difference_x=frame.middle_x + 10,
        name_y=TOP_MARGIN - 16,
        foot_y=frame.y(frame.lowest_cm) + BOTTOM_MARGIN - 8,
        limbs=limbs,
        stations=tuple(_stations(report.rows, taped, frame)),
        bands=tuple(band for band in Band if band in shown and band is not Band.PLAIN),
    )


def radius_units(girth_cm: float) -> float:
    """Radius in drawing units of the circle of a girth in cm; geometry."""
    return girth_cm / (2 * pi) * UNITS_PER_CM


def _frame(taped: Sequence[LimbGirths]) -> _Frame:
    return _Frame(
        lowest_cm=min(girths.levels_cm[0] for girths in taped),
        highest_cm=max(girths.levels_cm[-1] for girths in taped),
        widest=2 * radius_units(max(max(girths.girths_cm) for girths in taped)),
    )


def _limb(girths: LimbGirths, report: SessionReport, frame: _Frame) -> OutlineLimb:
    is_right = girths.side is Side.RIGHT
    reach = frame.widest / 2 + 10
    centre_x = frame.centre_x(girths.side)
    return OutlineLimb(
        side=girths.side,
        is_affected=girths.side is report.affected_side,
        centre_x=centre_x,
        label_x=centre_x - reach if is_right else centre_x + reach,
        label_anchor="end" if is_right else "start",
        segments=tuple(_segments(girths, report, frame)),
    )


def _segments(girths: LimbGirths, report: SessionReport, frame: _Frame) -> Iterator[OutlineSegment]:
    centre_x, girth_cm = frame.centre_x(girths.side), dict(girths)
    last_label_y = None
    for each in segment_volumes(girths):
        low, high = each.section.from_cm, each.section.to_cm
        compared = _segment_comparison(each, girths.side, report)
        label_y = (frame.y(low) + frame.y(high)) / 2
        has_label = last_label_y is None or last_label_y - label_y >= LEAST_LABEL_GAP
        last_label_y = label_y if has_label else last_label_y
        yield OutlineSegment(
            points=_cone(centre_x, (frame.y(low), girth_cm[low]), (frame.y(high), girth_cm[high])),
            band=band_of(compared),
            from_cm=low,
            to_cm=high,
            ml=each.ml,
            excess_ml=compared.excess_ml if compared else None,
            label_y=label_y + 5,
            has_label=has_label,
        )


def _cone(centre_x: float, lower: tuple[float, float], upper: tuple[float, float]) -> str:
    """Four corners from (y, girth in cm) of both ends."""
    (low_y, low_cm), (high_y, high_cm) = lower, upper
    low, high = radius_units(low_cm), radius_units(high_cm)
    corners = [
        (centre_x - low, low_y),
        (centre_x + low, low_y),
        (centre_x + high, high_y),
        (centre_x - high, high_y),
    ]
    return " ".join(f"{x:.2f},{y:.2f}" for x, y in corners)


def _segment_comparison(
    segment: SegmentVolume, side: Side, report: SessionReport
) -> Comparison | None:
    """The affected limb's segment against the same stretch of the other limb, if taped there."""
    if side is not report.affected_side:
        return None
    pair = (report.right_girths, report.left_girths)
    affected, other = pair if side is Side.RIGHT else pair[::-1]
    if affected is None or other is None or not _covers(other, segment.section):
        return None
    tape = TAPE_ERRORS[report.facts.limb]
    return compare_limbs(affected, other, section=segment.section, tape=tape)


def _covers(girths: LimbGirths, section: Section) -> bool:
    first, last = girths.taped_cm
    return first <= section.from_cm and section.to_cm <= last


def band_of(compared: Comparison | None) -> Band:
    """The colour step of a segment; decided on unrounded values, its own error first."""
    if compared is None:
        return Band.PLAIN
    if compared.verdict is Verdict.WITHIN_ERROR:
        return Band.ALIKE
    if compared.verdict is Verdict.BEYOND_ERROR_DOWN:
        return Band.LESS
    if compared.excess_percent >= MUCH_MORE_FROM_PERCENT:
        return Band.MUCH
    return Band.MORE if compared.excess_percent >= MORE_FROM_PERCENT else Band.SOME


def _stations(
    rows: Sequence[GirthRow], taped: Sequence[LimbGirths], frame: _Frame
) -> Iterator[OutlineStation]:
    last_y = None
    for row in rows:
        y = frame.y(row.level_cm)
        has_label = last_y is None or last_y - y >= LEAST_LABEL_GAP
        last_y = y if has_label else last_y
        yield OutlineStation(
            level_cm=row.level_cm,
            y=y,
            text_y=y + 5,
            difference_cm=row.difference_cm,
            tape_lines=tuple(_tape_lines(row.level_cm, taped, frame)),
            has_label=has_label,
        )


def _tape_lines(
    level_cm: float, taped: Sequence[LimbGirths], frame: _Frame
) -> Iterator[tuple[float, float]]:
    for girths in taped:
        girth_cm = dict(girths).get(level_cm)
        if girth_cm is not None:
            centre_x, reach = frame.centre_x(girths.side), radius_units(girth_cm)
            yield centre_x - reach, centre_x + reach
