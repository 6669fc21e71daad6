"""The limb as a shape and the pressure at each station as a bar, in drawing units. Pure.

The far end of the limb is at the foot of the drawing. Every number shown is in the table too.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from programmes.compression.pressure import Concern, Gradient, Station

WIDTH, ROW, TOP, FOOT = 420.0, 26.0, 26.0, 24.0
LIMB_X, LIMB_HALF = 118.0, 46.0
BAR_X, BAR_LENGTH = 185.0, 170.0
BAR_HEIGHT = 13.0
LEVEL_X = 58.0


@dataclass(frozen=True)
class Bar:
    """One station: where it stands, how wide the limb is there, how long its bar is."""

    station: Station
    y: float
    half: float
    length: float

    @property
    def text_y(self) -> float:
        return self.y + 4.5

    @property
    def bar_y(self) -> float:
        return self.y - BAR_HEIGHT / 2

    @property
    def text_x(self) -> float:
        return BAR_X + self.length + 6

    @property
    def left_x(self) -> float:
        return LIMB_X - self.half

    @property
    def right_x(self) -> float:
        return LIMB_X + self.half

    @property
    def rises(self) -> bool:
        return Concern.RISES in self.station.concerns


@dataclass(frozen=True)
class PressureDrawing:
    """Bars from the near end down to the far end, and the outline of the limb."""

    bars: tuple[Bar, ...]
    outline: str
    width: float
    height: float
    bar_x: float = BAR_X
    bar_height: float = BAR_HEIGHT
    level_x: float = LEVEL_X
    limb_x: float = LIMB_X

    @property
    def foot_y(self) -> float:
        return self.height - 8


def pressure_drawing(pressures: Gradient) -> PressureDrawing:
    """The drawing of a gradient; at least one station."""
    stations = tuple(reversed(pressures.stations))
    widest_cm = max(each.girth_cm for each in stations)
    highest_mmhg = pressures.highest_mmhg or 1.0
    bars = tuple(
        Bar(
            station=each,
            y=TOP + at * ROW + ROW / 2,
            half=LIMB_HALF * each.girth_cm / widest_cm,
            length=BAR_LENGTH * (each.pressure_mmhg or 0) / highest_mmhg,
        )
        for at, each in enumerate(stations)
    )
    return PressureDrawing(bars, _outline(bars), WIDTH, TOP + len(bars) * ROW + FOOT)


def _outline(bars: Sequence[Bar]) -> str:
    """The corners of the limb as the points of a polygon: down one side, up the other."""
    down = [(bar.left_x, bar.y) for bar in bars]
    up = [(bar.right_x, bar.y) for bar in reversed(bars)]
    return " ".join(f"{x:.1f},{y:.1f}" for x, y in (*down, *up))
