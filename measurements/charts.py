"""Plotly figures as plain JSON values, drawn by static/js/chart.js. Nothing here leaves the host.

Plain dicts: plotly's own graph objects check each value against their schema, which takes longer
than the rest of the page; the tests do that check once for every kind of figure.

Colours: Okabe & Ito 2008, colour-blind-safe; each has a shape, a dash or a word beside it.
"""

from collections.abc import Iterator, Sequence
from datetime import date, timedelta
from typing import Any

from clinic.common.vocabulary import Limb, Phase, Side
from measurements.limb.comparison import Verdict
from measurements.limb.course import DecongestionFit
from measurements.limb.error import Z_95
from measurements.limb.thresholds import RULES, Criterion
from measurements.report import CoursePoint, GirthRow, LimbCourse, LimbPoint, PhaseSpan

BLUE, VERMILION, GREEN, ORANGE, PURPLE, GREY = (
    "#0072b2",
    "#d55e00",
    "#009e73",
    "#e69f00",
    "#cc79a7",
    "#7f7a74",
)
BAND = "rgba(86, 180, 233, 0.28)"  # sky blue of the same set
PLATEAU_BAND = "rgba(0, 158, 115, 0.20)"  # GREEN, thinned
CURVE_STEPS = 24  # pieces of line that make a fitted curve look round

SYMBOLS = {
    Verdict.BEYOND_ERROR_UP: "triangle-up",
    Verdict.BEYOND_ERROR_DOWN: "triangle-down",
    Verdict.WITHIN_ERROR: "circle-open",
}
PHASE_SHADES = {
    Phase.SURVEILLANCE: "rgba(0, 158, 115, 0.07)",
    Phase.INTENSIVE: "rgba(204, 121, 167, 0.14)",
    Phase.MAINTENANCE: "rgba(230, 159, 0, 0.09)",
    Phase.DISCHARGED: "rgba(127, 122, 116, 0.10)",
}

Figure = dict[str, Any]


def course_figure(course: LimbCourse) -> Figure | None:
    """Excess over time; in bilateral disease each limb's change from baseline. None if empty."""
    traces = list(_excess_traces(course) if course.affected_side else _own_traces(course))
    if not traces:
        return None
    days, layout = _days(course), _layout("mL")
    layout["xaxis"]["range"] = [_text(day) for day in days]
    layout["shapes"], layout["annotations"] = _shades(course.phases, days)
    layout["annotations"] += [_plateau_name(*each) for each in _fits(course)]
    return {"data": traces, "layout": layout}


def girth_figure(course: LimbCourse) -> Figure | None:
    """Girth at each level now, at baseline, and of the other limb now. None for one session."""
    side = course.affected_side
    if side is None or course.baseline is None or course.latest.facts.is_baseline:
        return None
    limb = course.limb.label
    traces = [
        _girth_trace(
            f"{side.label} {limb} now", course.latest.rows, side, (BLUE, "solid", "circle")
        ),
        _girth_trace(
            f"{side.label} {limb} at baseline",
            course.baseline.rows,
            side,
            (VERMILION, "dash", "diamond-open"),
        ),
        _girth_trace(
            f"{side.other.label} {limb} now",
            course.latest.rows,
            side.other,
            (GREY, "dot", "square-open"),
        ),
    ]
    layout = _layout("cm") | {
        "xaxis": _axis("level, cm from the start") | {"zeroline": False},
        "hovermode": "x unified",
        "legend": {"orientation": "h", "y": 1.14, "x": 0},
    }
    return {"data": traces, "layout": layout}


# Excess


def _excess_traces(course: LimbCourse) -> Iterator[Figure]:
    points = [point for point in course.points if point.excess_ml is not None]
    if not points:
        return
    yield from _error_band(points)
    yield from _approaches(course)
    yield from _limits(points, course.limb)
    baseline = next((point for point in points if point.is_baseline), None)
    if baseline:
        yield _level_line("baseline", points, [baseline.excess_ml] * len(points), ("dash", GREY))
    yield _excess_line(points)


def _error_band(points: Sequence[CoursePoint]) -> Iterator[Figure]:
    days = [_text(point.taken_on) for point in points]
    edges = [
        [(point.excess_ml or 0) + sign * Z_95 * (point.error_ml or 0) for point in points]
        for sign in (-1, 1)
    ]
    hidden: Figure = {"mode": "lines", "line": {"width": 0}, "hoverinfo": "skip"}
    yield _scatter(x=days, y=edges[0], showlegend=False, legendgroup="band", **hidden)
    yield _scatter(
        x=days,
        y=edges[1],
        fill="tonexty",
        fillcolor=BAND,
        name="95 % measurement error",
        legendgroup="band",
        **hidden,
    )


def _limits(points: Sequence[CoursePoint], limb: Limb) -> Iterator[Figure]:
    """Published limits; those in percent follow the other limb. Shown or hidden in the legend."""
    fixed_ml = RULES[Criterion.VOLUME_200ML].limit
    yield _level_line(f"{fixed_ml:g} mL", points, [fixed_ml] * len(points), ("dot", VERMILION))
    for criterion, dash, colour in (
        (Criterion.EXCESS_5_PERCENT, "longdash", ORANGE),
        (Criterion.EXCESS_10_PERCENT, "dashdot", PURPLE),
    ):
        limit = RULES[criterion].limit
        share = [(point.other_ml or 0) * limit / 100 for point in points]
        yield _level_line(f"{limit:g} % of the other {limb.label}", points, share, (dash, colour))


def _level_line(
    name: str, points: Sequence[CoursePoint], level_ml: Sequence[Any], look: tuple[str, str]
) -> Figure:
    dash, colour = look
    return _scatter(
        x=[_text(point.taken_on) for point in points],
        y=list(level_ml),
        name=name,
        mode="lines",
        line={"dash": dash, "color": colour, "width": 1.5},
        hovertemplate="%{y:.0f} mL<extra>" + name + "</extra>",
    )


def _excess_line(points: Sequence[CoursePoint]) -> Figure:
    return _scatter(
        x=[_text(point.taken_on) for point in points],
        y=[point.excess_ml for point in points],
        name="excess volume",
        mode="lines+markers",
        line={"color": BLUE, "width": 2.5},
        marker={"symbol": [_symbol(point) for point in points], "size": 13, "color": BLUE},
        customdata=[
            [Z_95 * (point.error_ml or 0), point.percent, _words(point)] for point in points
        ],
        hovertemplate="<b>%{y:.0f} mL</b> ± %{customdata[0]:.0f}, %{customdata[1]:.1f} %"
        "<br>%{customdata[2]}<extra>%{x|%-d %b %Y}</extra>",
    )


def _symbol(point: CoursePoint) -> str:
    return SYMBOLS[point.verdict] if point.verdict else "circle"


def _words(point: CoursePoint) -> str:
    if point.is_baseline:
        return "baseline"
    return f"since baseline: {point.verdict.label}" if point.verdict else "no baseline"


# The fitted approach to a plateau

Fitted = tuple[str, DecongestionFit, float]


def _fits(course: LimbCourse) -> Iterator[Fitted]:
    """(name, fit, what the chart takes off) of each fitted course that may be shown."""
    for each in course.decongestion:
        if each.told and each.is_excess:
            yield "excess", each.told, 0.0
        elif each.told and (own := _baseline_ml(course, each.side)) is not None:
            yield f"{each.side.label} {course.limb.label}", each.told, own


def _baseline_ml(course: LimbCourse, side: Side) -> float | None:
    limbs = [
        point.left if side is Side.LEFT else point.right
        for point in course.points
        if point.is_baseline
    ]
    return next((limb.volume_ml for limb in limbs if limb), None)


def _approaches(course: LimbCourse) -> Iterator[Figure]:
    """The plateau's interval as a band and the fitted curve as a dashed line, each named."""
    for name, fit, off_ml in _fits(course):
        ends = [_text(fit.first_on), _text(_curve_ends(fit))]
        hidden: Figure = {"mode": "lines", "line": {"width": 0}, "hoverinfo": "skip"}
        hidden |= {"x": ends, "legendgroup": f"plateau {name}"}
        interval = fit.plateau_interval_ml
        low, high = ((edge or 0.0) - off_ml for edge in (interval.low, interval.high))
        band = f"95 % interval of the plateau, {name}"
        yield _scatter(y=[low, low], showlegend=False, name="plateau, lower edge", **hidden)
        filled = {"fill": "tonexty", "fillcolor": PLATEAU_BAND, "name": band}
        yield _scatter(y=[high, high], **hidden, **filled)
        yield _curve(f"fitted approach to the plateau, {name}", fit, off_ml)


def _curve(name: str, fit: DecongestionFit, off_ml: float) -> Figure:
    days = (_curve_ends(fit) - fit.first_on).days
    steps = sorted({round(days * step / CURVE_STEPS) for step in range(CURVE_STEPS + 1)})
    shown = [fit.first_on + timedelta(days=step) for step in steps]
    return _scatter(
        x=[_text(on) for on in shown],
        y=[fit.at(on) - off_ml for on in shown],
        name=name,
        mode="lines",
        line={"dash": "8px,3px", "color": GREEN, "width": 2},
        hovertemplate="%{y:.0f} mL<extra>" + name + "</extra>",
    )


def _curve_ends(fit: DecongestionFit) -> date:
    """The last day measured, or the day from which no further change would be seen."""
    return max(fit.last_on, fit.within_on)


def _plateau_name(name: str, fit: DecongestionFit, off_ml: float) -> Figure:
    """The plateau named on its band, at the left, where the curve is still far above it."""
    return {
        "text": f"plateau, {name}",
        "x": _text(fit.first_on),
        "y": (fit.plateau_interval_ml.high or 0.0) - off_ml,
        "xanchor": "left",
        "yanchor": "bottom",
        "showarrow": False,
    }


# Each limb against its own baseline


def _own_traces(course: LimbCourse) -> Iterator[Figure]:
    looks = {Side.RIGHT: (BLUE, "solid", "circle"), Side.LEFT: (VERMILION, "dash", "diamond")}
    for side, (colour, dash, symbol) in looks.items():
        own = list(_own_points(course.points, side))
        if not own:
            continue
        yield _scatter(
            x=[_text(on) for on, _ in own],
            y=[limb.change_ml or 0 for _, limb in own],
            error_y={
                "type": "data",
                "array": [Z_95 * (limb.change_error_ml or 0) for _, limb in own],
            },
            name=f"{side.label} {course.limb.label}",
            mode="lines+markers",
            line={"color": colour, "dash": dash, "width": 2},
            marker={"symbol": symbol, "size": 9},
            customdata=[[limb.volume_ml, _own_words(limb)] for _, limb in own],
            hovertemplate="%{y:+.0f} mL from baseline (volume %{customdata[0]:.0f} mL)"
            "<br>%{customdata[1]}<extra>%{x|%-d %b %Y}</extra>",
        )
    yield from _approaches(course)


def _own_words(limb: LimbPoint) -> str:
    said = limb.verdict.label if limb.verdict else "baseline"
    return f"{said}, {limb.weight_says.label}" if limb.weight_says else said


def _own_points(points: Sequence[CoursePoint], side: Side) -> Iterator[tuple[date, LimbPoint]]:
    for point in points:
        limb = point.left if side is Side.LEFT else point.right
        if limb and (point.is_baseline or limb.change_ml is not None):
            yield point.taken_on, limb


# Girths


def _girth_trace(
    name: str, rows: Sequence[GirthRow], side: Side, look: tuple[str, str, str]
) -> Figure:
    colour, dash, symbol = look
    girths = [(row.level_cm, row.left_cm if side is Side.LEFT else row.right_cm) for row in rows]
    return _scatter(
        x=[level for level, girth in girths if girth is not None],
        y=[girth for _, girth in girths if girth is not None],
        name=name,
        mode="lines+markers",
        line={"color": colour, "dash": dash, "width": 2},
        marker={"symbol": symbol, "size": 7},
        hovertemplate="%{y:.1f} cm",
    )


# Frame


def _layout(unit: str) -> Figure:
    return {
        "margin": {"l": 64, "r": 16, "t": 28, "b": 44},
        "height": 400,
        "xaxis": _axis("") | {"zeroline": False},
        "yaxis": _axis(unit) | {"zeroline": True, "zerolinewidth": 1.5},
        "legend": {"orientation": "h", "y": -0.16, "x": 0},
        "hovermode": "closest",
        "dragmode": False,
        "paper_bgcolor": "rgba(0,0,0,0)",
        "plot_bgcolor": "rgba(0,0,0,0)",
        "separators": ".,",
    }


def _axis(title: str) -> Figure:
    return {"title": {"text": title}, "showgrid": True, "automargin": True}


def _days(course: LimbCourse) -> tuple[date, date]:
    """A little more than the first to the last session, or to where a fitted curve ends."""
    first = course.points[0].taken_on
    last = max([course.points[-1].taken_on, *(_curve_ends(fit) for _, fit, _ in _fits(course))])
    air = timedelta(days=max(3, (last - first).days // 25))
    return first - air, last + air


def _shades(
    spans: Sequence[PhaseSpan], days: tuple[date, date]
) -> tuple[list[Figure], list[Figure]]:
    """(rectangles, names) of the phases, as far as the chart shows them."""
    shown = [
        (span.phase, _text(max(span.from_on, days[0])), _text(min(span.to_on or days[1], days[1])))
        for span in spans
    ]
    shown = [(phase, begins, ends) for phase, begins, ends in shown if begins < ends]
    rectangle = {"type": "rect", "xref": "x", "yref": "paper", "y0": 0, "y1": 1, "layer": "below"}
    name = {"xref": "x", "yref": "paper", "y": 1, "xanchor": "left", "yanchor": "bottom"}
    return (
        [
            rectangle
            | {"x0": begins, "x1": ends, "fillcolor": PHASE_SHADES[phase], "line": {"width": 0}}
            for phase, begins, ends in shown
        ],
        [
            name | {"text": phase.label, "x": begins, "showarrow": False}
            for phase, begins, _ in shown
        ],
    )


def _text(on: date) -> str:
    return on.isoformat()


def _scatter(**values: Any) -> Figure:
    return {"type": "scatter"} | values
