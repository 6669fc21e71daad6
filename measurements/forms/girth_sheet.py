"""The grid of girths as typed: names of its fields, text to centimetres, what waits for a yes."""

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from functools import cached_property

from clinic.common.errors import RuleBroken
from clinic.common.vocabulary import Limb, Side
from measurements.errors import DisplacedImpossible
from measurements.limb.errors import GirthNotPositive, LengthNotPositive
from measurements.limb.girth import MOST_TRIALS, Reading
from measurements.limb.levels import EndHandling, EndMeasure
from measurements.limb.units import LengthUnit
from measurements.models import Protocol
from measurements.sentences import sentence
from measurements.taped import Confirmed, Station
from measurements.typed_numbers import length_typed, number_typed

# Right first, as one reads a person who sits opposite; common practice, no source.
COLUMN_ORDER = (Side.RIGHT, Side.LEFT)

GIRTH_NAME = re.compile(r"girth-(left|right)-(\d{1,3}(?:\.\d)?)-([1-3])")
SURE_NAME = re.compile(r"sure-(left|right)-\d{1,3}(?:\.\d)?")
END_NAME = re.compile(r"end-(left|right)")

# A displaced volume is kept in whole millilitres of at most five figures: models.EndReading.
MOST_DISPLACED_ML = Decimal(20_000)

# What stands between the girths in a confirmation, so that it holds for these girths only.
JOIN = "|"


def girth_name(side: Side, level_cm: float, trial: int) -> str:
    return f"girth-{side.value}-{level_cm:g}-{trial}"


def sure_name(side: Side, level_cm: float) -> str:
    return f"sure-{side.value}-{level_cm:g}"


def end_name(side: Side) -> str:
    return f"end-{side.value}"


@dataclass(frozen=True)
class Setup:
    """What is taped and how it is typed."""

    limb: Limb
    protocol: Protocol
    sides: tuple[Side, ...]
    trials: int
    length_unit: LengthUnit

    @property
    def stations(self) -> list[tuple[float, str]]:
        return [(float(each.level_cm), each.label) for each in self.protocol.stations.all()]

    @property
    def end_handling(self) -> EndHandling:
        return EndHandling(self.protocol.end_handling)


@dataclass(frozen=True)
class Cell:
    """One field: its name, the text in it, and what is wrong with that."""

    name: str
    text: str
    trial: int
    error: str = ""


@dataclass(frozen=True)
class StationCells:
    """The fields of one station of one limb."""

    side: Side
    level_cm: float
    cells: tuple[Cell, ...]
    sure: Cell

    @property
    def errors(self) -> list[str]:
        return [cell.error for cell in self.cells if cell.error]

    @property
    def is_sure(self) -> bool:
        return bool(self.sure.text)


@dataclass
class GirthSheet:
    """Everything typed into the grid under one setup."""

    setup: Setup
    typed: Mapping[str, str]
    errors: dict[str, str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.readings = tuple(self._readings())
        self.ends = dict(self._ends())

    @cached_property
    def trials(self) -> int:
        """As many as were asked for, or as were typed already."""
        typed = [int(match[3]) for match in self._girths_typed()]
        return max([self.setup.trials, *typed])

    @cached_property
    def shown(self) -> set[str]:
        """Names of the fields that this setup has."""
        names = {
            girth_name(side, level, trial)
            for side in self.setup.sides
            for level, _ in self.setup.stations
            for trial in range(1, MOST_TRIALS + 1)
        }
        if self.setup.end_handling is EndHandling.EXCLUDED:
            return names
        return names | {end_name(side) for side in self.setup.sides}

    @property
    def left_over(self) -> dict[str, str]:
        """Girths, hands and feet typed earlier that this setup has no field for."""
        return {
            name: text
            for name, text in self.typed.items()
            if text.strip()
            and (GIRTH_NAME.fullmatch(name) or END_NAME.fullmatch(name))
            and name not in self.shown
        }

    @property
    def open_stations(self) -> tuple[Station, ...]:
        """Stations without a girth, on the sides to be taped."""
        taped = {(each.side, each.level_cm) for each in self.readings}
        return tuple(
            (side, level)
            for side in self.setup.sides
            for level, _ in self.setup.stations
            if (side, level) not in taped
        )

    @property
    def open_stations_mark(self) -> str:
        """What a yes to the stations left open is a yes to."""
        return JOIN.join(f"{side.value} {level:g}" for side, level in self.open_stations)

    @property
    def left_over_mark(self) -> str:
        return JOIN.join(f"{name} {text}" for name, text in sorted(self.left_over.items()))

    @property
    def confirmed(self) -> Confirmed:
        """What has been confirmed of just what is typed now."""
        sure = {
            (side, level)
            for side in self.setup.sides
            for level, _ in self.setup.stations
            if self.station(side, level).is_sure
        }
        return Confirmed(
            girths=frozenset(sure),
            open_stations=self.typed.get("sure-open", "") == self.open_stations_mark != "",
            left_over=self.typed.get("sure-left-over", "") == self.left_over_mark[:300] != "",
        )

    def station(self, side: Side, level_cm: float) -> StationCells:
        names = [girth_name(side, level_cm, trial) for trial in range(1, MOST_TRIALS + 1)]
        texts = [self.typed.get(name, "").strip() for name in names]
        asked = JOIN.join(texts).rstrip(JOIN)
        sure = sure_name(side, level_cm)
        is_sure = bool(asked) and self.typed.get(sure) == asked
        cells = (
            Cell(name, text, trial, self.errors.get(name, ""))
            for trial, (name, text) in enumerate(zip(names, texts, strict=True), start=1)
        )
        shown = tuple(cell for cell in cells if cell.trial <= self.trials)
        return StationCells(side, level_cm, shown, Cell(sure, asked if is_sure else "", 0, asked))

    def end(self, side: Side) -> Cell:
        name = end_name(side)
        return Cell(name, self.typed.get(name, ""), 1, self.errors.get(name, ""))

    def _girths_typed(self) -> list[re.Match[str]]:
        found = (GIRTH_NAME.fullmatch(name) for name, text in self.typed.items() if text.strip())
        return [match for match in found if match and match[0] in self.shown]

    def _readings(self) -> Iterator[Reading]:
        for match in self._girths_typed():
            side, level_cm, trial = Side(match[1]), float(match[2]), int(match[3])
            try:
                girth_cm = length_typed(self.typed[match[0]], self.setup.length_unit)
                if girth_cm <= 0:
                    raise GirthNotPositive(side, level_cm, float(girth_cm))
            except RuleBroken as error:
                self.errors[match[0]] = sentence(error)
            else:
                yield Reading(side, level_cm, float(girth_cm), trial)

    def _ends(self) -> Iterator[tuple[Side, EndMeasure]]:
        for side in self.setup.sides:
            name = end_name(side)
            text = self.typed.get(name, "").strip()
            if not text or name not in self.shown:
                continue
            try:
                yield side, self._end_measure(text)
            except RuleBroken as error:
                self.errors[name] = sentence(error)

    def _end_measure(self, text: str) -> EndMeasure:
        if self.setup.end_handling is EndHandling.FIGURE_OF_EIGHT:
            length_cm = length_typed(text, self.setup.length_unit)
            if round(length_cm, 1) <= 0:
                raise LengthNotPositive("figure_of_eight_cm", float(length_cm))
            return EndMeasure(figure_of_eight_cm=float(length_cm))
        displaced_ml = number_typed(text)
        if not 1 <= displaced_ml <= MOST_DISPLACED_ML:
            raise DisplacedImpossible(displaced_ml, MOST_DISPLACED_ML)
        return EndMeasure(displaced_ml=float(displaced_ml))
