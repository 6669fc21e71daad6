"""The number table of a letter: what stands in which row and column. No rounding here."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date

from clinic.common.vocabulary import Limb, Side
from clinic.letters.summary import LimbNumbers, Look, Measured, OwnShift, shift
from measurements.limb.comparison import Judged


@dataclass(frozen=True)
class Column:
    heading: str
    taken_on: date
    look: Look
    is_now: bool


@dataclass(frozen=True)
class Row:
    """`unit` is ml, percent or kg; `changes` match `NumberTable.earlier`, None where not judged."""

    label: str
    unit: str
    cells: tuple[Measured | None, ...]
    changes: tuple[Judged | None, ...]
    is_main: bool = False


@dataclass(frozen=True)
class NumberTable:
    """Columns run from the earliest to now; `earlier` are those that now is held against."""

    caption: str
    columns: tuple[Column, ...]
    earlier: tuple[Column, ...]
    rows: tuple[Row, ...]


def number_table(numbers: LimbNumbers, last: str = "last letter") -> NumberTable:
    """The table of one limb; `last` heads the column between baseline and now."""
    columns = _columns(numbers, last)
    rows = tuple(row for row in _rows(numbers, columns) if any((*row.cells, *row.changes)))
    return NumberTable(_caption(numbers, columns), columns, _earlier(columns), rows)


def _earlier(columns: tuple[Column, ...]) -> tuple[Column, ...]:
    return tuple(column for column in columns if not column.is_now)


def _caption(numbers: LimbNumbers, columns: tuple[Column, ...]) -> str:
    if numbers.is_bilateral:
        return _bilateral_caption(numbers, columns)
    volumes, side = f"{numbers.limb.label.capitalize()} volumes", numbers.affected_side
    if side is None:
        return volumes
    if numbers.now.excess is None:
        return f"{volumes}; the {side.other.label} {numbers.limb.label} was not measured"
    return f"{volumes}; excess is the {side.label} {numbers.limb.label} less the {side.other.label}"


def _bilateral_caption(numbers: LimbNumbers, columns: tuple[Column, ...]) -> str:
    said = f"Both {numbers.limb.label}s are affected: each is set against its own baseline"
    if len(columns) == 1:
        return said
    if all(column.look.weight_kg for column in columns):
        return f"{said} and against body weight"
    return f"{said}; body weight, where it is missing, was not taken into account"


def _columns(numbers: LimbNumbers, last: str) -> tuple[Column, ...]:
    """Baseline, last paper, now; one column where two of them are the same session."""
    named: dict[str, tuple[Look, list[str]]] = {}
    for heading, look in (
        ("baseline", numbers.baseline),
        (last, numbers.last),
        ("now", numbers.now),
    ):
        if look:
            named.setdefault(look.session_id, (look, []))[1].append(heading)
    looks = sorted(named.values(), key=lambda each: "now" in each[1])
    return tuple(
        Column(_heading(names), look.taken_on, look, "now" in names) for look, names in looks
    )


def _heading(names: list[str]) -> str:
    ordered = ["now", *names[:-1]] if "now" in names else names
    text = " and ".join(dict.fromkeys(ordered))
    return text[0].upper() + text[1:]


def _rows(numbers: LimbNumbers, columns: tuple[Column, ...]) -> Iterator[Row]:
    side = numbers.affected_side or Side.RIGHT
    yield _volumes(_limb_label(numbers, side), columns, lambda look: look.of(side))
    yield _volumes(_limb_label(numbers, side.other), columns, lambda look: look.of(side.other))
    if numbers.is_bilateral:
        yield from (_adjusted(numbers, columns, each) for each in (side, side.other))
    yield _volumes("Excess volume", columns, lambda look: look.excess, is_main=True)
    percents = tuple(column.look.percent for column in columns)
    yield _unjudged("Excess, percent of the other", "percent", percents)
    if not numbers.now.excess:
        yield _unjudged("Body weight", "kg", tuple(_weight(column.look) for column in columns))


def _volumes(
    label: str,
    columns: tuple[Column, ...],
    of: Callable[[Look], Measured | None],
    *,
    is_main: bool = False,
) -> Row:
    now = of(columns[-1].look)
    changes = tuple(shift(now, of(column.look)) for column in _earlier(columns))
    return Row(label, "ml", tuple(of(column.look) for column in columns), changes, is_main)


def _adjusted(numbers: LimbNumbers, columns: tuple[Column, ...], side: Side) -> Row:
    """The change of the limb's share of body weight, where both weights are known."""
    now = columns[-1].look.weighed(side)
    shifts = [shift(now, column.look.weighed(side)) for column in _earlier(columns)]
    changes = tuple(
        each.by_weight.adjusted if isinstance(each, OwnShift) else None for each in shifts
    )
    label = f"{_limb_label(numbers, side)}, adjusted for weight"
    return Row(label, "percent", (None,) * len(columns), changes)


def _unjudged(label: str, unit: str, cells: tuple[Measured | None, ...]) -> Row:
    return Row(label, unit, cells, (None,) * (len(cells) - 1))


def _weight(look: Look) -> Measured | None:
    """Body weight tells swelling from growth where no sound limb is there to compare."""
    return Measured(look.weight_kg, 0) if look.weight_kg else None


def _limb_label(numbers: LimbNumbers, side: Side) -> str:
    name = f"{side.label} {numbers.limb.label}".capitalize()
    if side is not numbers.affected_side:
        return name
    return f"{name}, {'at risk' if numbers.is_at_risk else 'affected'}"


def end_of(limb: Limb) -> str:
    """What a girth volume never includes."""
    return "hand" if limb is Limb.ARM else "foot"
