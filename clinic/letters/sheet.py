"""One letter as its template needs it: the frozen summary, the typed texts, table and chart."""

import hashlib
import json
from dataclasses import dataclass

from clinic.letters.chart import Chart, chart
from clinic.letters.numbers import NumberTable, end_of, number_table
from clinic.letters.summary import LimbNumbers, ProgressSummary, as_json
from clinic.letters.wording import alerts

TEXT_FIELDS = ("bottom_line", "treatment", "adherence", "plan", "request")

# Girth volumes read high because sections are not circles: measurement reference, mesh limbs of
# this project's own check, 2 to 6 % for arms and 2 to 4 % for legs.
READS_HIGH_PERCENT = {"arm": "2 to 6", "leg": "2 to 4"}


@dataclass(frozen=True)
class Texts:
    """What the therapist wrote."""

    bottom_line: str
    treatment: str = ""
    adherence: str = ""
    plan: str = ""
    request: str = ""


@dataclass(frozen=True)
class LimbSheet:
    """One limb's table and chart; `end` is the hand or foot that no girth volume includes."""

    numbers: LimbNumbers
    table: NumberTable
    chart: Chart | None
    end: str
    reads_high_percent: str


@dataclass(frozen=True)
class Sheet:
    summary: ProgressSummary
    texts: Texts
    limbs: tuple[LimbSheet, ...]
    alerts: tuple[str, ...]
    is_draft: bool

    @property
    def has_chart(self) -> bool:
        return any(limb.chart for limb in self.limbs)

    @property
    def digest(self) -> str:
        """Changes when anything the reader would see changes."""
        said = json.dumps([as_json(self.summary), vars(self.texts)], sort_keys=True)
        return hashlib.sha256(said.encode()).hexdigest()


def sheet(summary: ProgressSummary, texts: Texts, *, is_draft: bool) -> Sheet:
    limbs = tuple(_limb_sheet(numbers) for numbers in summary.limbs)
    return Sheet(summary, texts, limbs, alerts(summary), is_draft)


def _limb_sheet(numbers: LimbNumbers) -> LimbSheet:
    return LimbSheet(
        numbers=numbers,
        table=number_table(numbers),
        chart=chart(numbers),
        end=end_of(numbers.limb),
        reads_high_percent=READS_HIGH_PERCENT[numbers.limb],
    )


def longest_texts(texts: Texts, count: int = 2) -> tuple[str, ...]:
    """The texts that take the most room, a line break counting as a line, longest first."""
    room = {name: len(getattr(texts, name)) + 100 * _breaks(texts, name) for name in TEXT_FIELDS}
    ordered = sorted((name for name in TEXT_FIELDS if room[name]), key=lambda name: -room[name])
    return tuple(ordered[:count])


def _breaks(texts: Texts, name: str) -> int:
    return str(getattr(texts, name)).count("\n")
