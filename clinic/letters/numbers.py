"""The number table of a letter: what stands in which row and column. No rounding here."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date

from clinic.common.vocabulary import Limb, Side
from clinic.letters.summary import LimbNumbers, Look, Measured, shift
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


def number_table(numbers: LimbNumbers) -> NumberTable:
    columns = _columns(numbers)
    earlier = tuple(column for column in columns if not column.is_now)
    rows = tuple(row for row in _rows(numbers, columns, earlier) if any(row.cells + row.changes))
    return NumberTable(_caption(numbers), columns, earlier, rows)


def _caption(numbers: LimbNumbers) -> str:
    if numbers.is_bilateral:
        return f"Both {numbers.limb.label}s are affected: each is set against its own baseline"
    return f"{numbers.limb.label.capitalize()} volumes"


def _columns(numbers: LimbNumbers) -> tuple[Column, ...]:
    """Baseline, last letter, now; one column where two of them are the same session."""
    named: dict[str, tuple[Look, list[str]]] = {}
    for heading, look in (
        ("baseline", numbers.baseline),
        ("last letter", numbers.last),
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


def _rows(
    numbers: LimbNumbers, columns: tuple[Column, ...], earlier: tuple[Column, ...]
) -> Iterator[Row]:
    side = numbers.affected_side or Side.RIGHT
    for each in (side, side.other):
        cells = [column.look.of(each) for column in columns]
        yield _row(_limb_label(numbers, each), "ml", cells, columns, earlier)
    excess = [column.look.excess for column in columns]
    yield _row("Excess volume", "ml", excess, columns, earlier, is_main=True)
    percents = tuple(column.look.percent for column in columns)
    yield Row("Excess, percent of the other", "percent", percents, (None,) * len(earlier))
    if not any(excess):
        yield _weights(columns, earlier)


def _row(
    label: str,
    unit: str,
    cells: list[Measured | None],
    columns: tuple[Column, ...],
    earlier: tuple[Column, ...],
    *,
    is_main: bool = False,
) -> Row:
    by_column = dict(zip((column.heading for column in columns), cells, strict=True))
    now = cells[-1]
    changes = tuple(shift(now, by_column[column.heading]) for column in earlier)
    return Row(label, unit, tuple(cells), changes, is_main)


def _limb_label(numbers: LimbNumbers, side: Side) -> str:
    name = f"{side.label} {numbers.limb.label}".capitalize()
    return f"{name}, affected" if side is numbers.affected_side else name


def _weights(columns: tuple[Column, ...], earlier: tuple[Column, ...]) -> Row:
    """Body weight: it tells swelling from growth where no sound limb is there to compare."""
    kg = [column.look.weight_kg for column in columns]
    cells = tuple(Measured(weight, 0) if weight else None for weight in kg)
    return Row("Body weight", "kg", cells, (None,) * len(earlier))


def end_of(limb: Limb) -> str:
    """What a girth volume never includes."""
    return "hand" if limb is Limb.ARM else "foot"
