"""The practice report as Plotly figures: plain JSON values made only of what may be shown.

Drawn by static/js/chart.js. A hidden count has no bar, only its word. Colours: Okabe & Ito 2008,
colour-blind-safe; the two periods differ in filling as well.
"""

from collections.abc import Sequence
from typing import Any

from clinic.overview.practice_report import Line, PracticeReport, Section
from clinic.overview.small_groups import Count, Share
from measurements.charts import BLUE, GREY

Drawn = dict[str, Any]

BAR_PX, FRAME_PX = 44, 120
LONGEST_NAME = 34
GAP = {"ticksuffix": "  "}  # between a name and its bar


def section_figure(section: Section, report: PracticeReport) -> Drawn | None:
    """Bars of a section's parts, now above before; None for fewer than two, or with no bar."""
    lines = section.parts
    if len(lines) < 2 or not any(_has_bar(line) for line in lines):
        return None
    bars = [
        _bars(report.period.name, lines, [line.now for line in lines], is_now=True),
        _bars(report.previous.name, lines, [line.before for line in lines], is_now=False),
    ]
    layout = _layout(len(lines)) | {"barmode": "group", "bargap": 0.35}
    return {"data": bars, "layout": layout}


def _has_bar(line: Line) -> bool:
    return any(isinstance(each, Count) and each.value for each in (line.now, line.before))


def shares_figure(report: PracticeReport) -> Drawn | None:
    """Each share with its 95 % interval, from 0 to 100 %; None where no share is told."""
    lines = [line for line in report.shares if _told([line.now, line.before])]
    if not lines:
        return None
    dots = [
        _dots(report.period.name, lines, [line.now for line in lines], is_now=True),
        _dots(report.previous.name, lines, [line.before for line in lines], is_now=False),
    ]
    layout = _layout(len(lines)) | {"scattermode": "group", "scattergap": 0.6}
    layout["xaxis"] |= {"range": [0, 100], "ticksuffix": " %"}
    return {"data": dots, "layout": layout}


def _told(figures: Sequence[Any]) -> bool:
    return any(isinstance(each, Share) and each.interval for each in figures)


def _bars(name: str, lines: Sequence[Line], figures: Sequence[Any], *, is_now: bool) -> Drawn:
    counts = [each for each in figures if isinstance(each, Count)]
    filled = {"color": BLUE}
    hatched = {"color": GREY, "pattern": {"shape": "/", "fillmode": "replace", "size": 6}}
    return {
        "type": "bar",
        "orientation": "h",
        "name": name,
        "y": [_short(line.name) for line in lines],
        "x": [each.value or 0 for each in counts],
        "text": [each.text for each in counts],
        "textposition": "outside",
        "cliponaxis": False,
        "hovertemplate": "%{y}: %{text}<extra>%{fullData.name}</extra>",
        "marker": filled if is_now else hatched,
    }


def _dots(name: str, lines: Sequence[Line], figures: Sequence[Any], *, is_now: bool) -> Drawn:
    """A share known only as a range has its dot in the middle of it."""
    places = [(line.name, each) for line, each in zip(lines, figures, strict=True) if each.interval]
    middles = [_middle(each) for _, each in places]
    pairs = list(zip(middles, (each for _, each in places), strict=True))
    return {
        "type": "scatter",
        "mode": "markers",
        "name": name,
        "orientation": "h",
        "y": [_short(each) for each, _ in places],
        "x": [round(each, 1) for each in middles],
        "text": [f"{each.interval.low:.1f} to {each.interval.high:.1f} %" for _, each in places],
        "hovertemplate": "%{y}: %{x} %, 95 % interval %{text}<extra>%{fullData.name}</extra>",
        "error_x": {
            "type": "data",
            "symmetric": False,
            "array": [round(each.interval.high - at, 1) for at, each in pairs],
            "arrayminus": [round(at - each.interval.low, 1) for at, each in pairs],
            "color": BLUE if is_now else GREY,
        },
        "marker": {
            "color": BLUE if is_now else GREY,
            "size": 10,
            "symbol": "circle" if is_now else "square-open",
        },
    }


def _middle(each: Share) -> float:
    """The share; of one known as a range, the middle of the range."""
    return ((each.lowest or 0) + (each.highest or 0)) / 2


def _short(name: str) -> str:
    return name if len(name) <= LONGEST_NAME else f"{name[: LONGEST_NAME - 1].rstrip()}…"


def _layout(rows: int) -> Drawn:
    return {
        "template": "none",
        "autosize": True,
        "height": FRAME_PX + BAR_PX * rows,
        "margin": {"l": 8, "r": 40, "t": 64, "b": 32},  # above: the tools, then the legend
        "paper_bgcolor": "rgba(0,0,0,0)",
        "plot_bgcolor": "rgba(0,0,0,0)",
        "dragmode": False,
        "xaxis": {"rangemode": "tozero", "showgrid": True, "zeroline": True},
        "yaxis": {"autorange": "reversed", "automargin": True, "showgrid": False} | GAP,
        "legend": {"orientation": "h", "yanchor": "bottom", "y": 1, "x": 0},
    }
