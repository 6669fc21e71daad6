"""One letter as its template needs it: the frozen summary, the typed texts, table and chart."""

import hashlib
import json
from dataclasses import dataclass

from clinic.letters.address import address_style
from clinic.letters.chart import Chart, chart
from clinic.letters.kinds import LetterKind, heading
from clinic.letters.numbers import NumberTable, end_of, number_table
from clinic.letters.summary import LimbNumbers, ProgressSummary, as_json
from clinic.letters.wording import alerts

# Every text that any kind has; `LetterKind.texts` names those of one.
TEXT_FIELDS = (
    "bottom_line",
    "treatment",
    "adherence",
    "plan",
    "request",
    "response",
    "skilled_need",
    "self_care",
)
# What is printed where a text is empty; other empty texts are left out.
WHEN_EMPTY = {
    "adherence": "Not recorded for this period.",
    "request": "Nothing at present.",
    "skilled_need": "Not said yet.",
}

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
    response: str = ""
    skilled_need: str = ""
    self_care: str = ""


@dataclass(frozen=True)
class TextBlock:
    """One text under its heading, as printed."""

    heading: str
    text: str
    is_request: bool


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
    def kind(self) -> LetterKind:
        return self.summary.kind

    @property
    def blocks(self) -> tuple[TextBlock, ...]:
        return blocks(self.kind, self.texts)

    @property
    def address_style(self) -> str:
        return address_style(self.summary.addressee.lines)

    @property
    def has_chart(self) -> bool:
        return any(limb.chart for limb in self.limbs)

    @property
    def digest(self) -> str:
        """Changes when anything the reader would see changes."""
        said = json.dumps([as_json(self.summary), vars(self.texts)], sort_keys=True)
        return hashlib.sha256(said.encode()).hexdigest()


def sheet(summary: ProgressSummary, texts: Texts, *, is_draft: bool) -> Sheet:
    limbs = tuple(_limb_sheet(numbers, summary.kind) for numbers in summary.limbs)
    return Sheet(summary, texts, limbs, alerts(summary), is_draft)


def _limb_sheet(numbers: LimbNumbers, kind: LetterKind) -> LimbSheet:
    return LimbSheet(
        numbers=numbers,
        table=number_table(numbers, kind.compared_with),
        chart=chart(numbers),
        end=end_of(numbers.limb),
        reads_high_percent=READS_HIGH_PERCENT[numbers.limb],
    )


def blocks(kind: LetterKind, texts: Texts) -> tuple[TextBlock, ...]:
    """The texts below the numbers, in their order; the opening sentence stands above them."""
    names = [name for name in kind.texts if name != "bottom_line"]
    found = (_block(kind, name, getattr(texts, name)) for name in names)
    return tuple(block for block in found if block.text)


def _block(kind: LetterKind, name: str, text: str) -> TextBlock:
    return TextBlock(heading(kind, name), text or WHEN_EMPTY.get(name, ""), name == "request")


def longest_texts(sheet: Sheet, count: int = 2) -> tuple[str, ...]:
    """The texts that take the most room, a line break counting as a line, longest first."""
    room = {name: _room(getattr(sheet.texts, name)) for name in sheet.kind.texts}
    ordered = sorted((name for name in room if room[name]), key=lambda name: -room[name])
    return tuple(ordered[:count])


def _room(text: str) -> int:
    return len(text) + 100 * text.count("\n")
