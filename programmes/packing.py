"""Which step stands where on paper: two columns a page, read down the left, then down the right.

The print library can balance columns, but lays everything out many times over for it. Heights are
foretold from the typeface instead, and the sheet is laid out once. Lengths in mm.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from math import ceil
from typing import TypeVar

from clinic.accounts.models import PaperSize
from programmes.handout import Card, Handout, Section, ShortList
from programmes.typeset import TYPE_MM, Face, Measure, Run, last_line

Thing = TypeVar("Thing")

# A body with an arm and a leg to treat has up to 56 steps and may take a fourth page.
USUAL_PAGES = 3
MOST_PAGES = 4
# ISO 216 A4; ANSI/ASME Y14.1 letter, 8.5 by 11 inches.
PAPER_MM = {PaperSize.A4: (210.0, 297.0), PaperSize.LETTER: (215.9, 279.4)}
MARGIN_TOP_MM, MARGIN_BOTTOM_MM, MARGIN_SIDE_MM = 9.0, 11.0, 10.0
COLUMN_GAP_MM = 5.0
PICTURE_GAP_MM = 2.5
# Height to width of a drawing with its labels.
PICTURE_SHAPE = 200 / 240
HEADING_SIZE = 1.12
BOX_INSIDE_MM = 3.0  # border and padding of the caution box
BULLET_MM = 0.85 * TYPE_MM
TOP_GAPS_MM = 8.5
DIARY_ROW_MM = 7.5
NUMBER_MM = 0.5  # the number on its ground makes its line a little taller
# Foretold heights are stretched by this much, so that a wrong guess does not spill over.
CAUTION = 1.004


@dataclass(frozen=True)
class Layout:
    """One density of the sheet. Pictures by width: of a step, of each of a pair, of a repeat.

    `is_run_in` puts a step's title, and the touch rules, in one line with what follows.
    """

    name: str
    picture_mm: float
    pair_mm: float
    echo_mm: float
    line: float = 1.09
    gap_mm: float = 1.5
    has_hands: bool = True
    has_whys: bool = True
    is_run_in: bool = False

    @property
    def line_mm(self) -> float:
        return TYPE_MM * self.line


LAYOUTS = (
    Layout("handout-roomy", picture_mm=38, pair_mm=24, echo_mm=24, line=1.2, gap_mm=3.5),
    Layout("handout-middle", picture_mm=32, pair_mm=21, echo_mm=19, line=1.14, gap_mm=2.5),
    Layout("handout-close", picture_mm=28, pair_mm=20, echo_mm=16, has_whys=False, is_run_in=True),
    Layout(
        "handout-tight",
        picture_mm=25,
        pair_mm=19,
        echo_mm=15,
        line=1.06,
        gap_mm=1.2,
        has_whys=False,
        is_run_in=True,
    ),
    Layout(
        "handout-dense",
        picture_mm=25,
        pair_mm=19,
        echo_mm=15,
        has_whys=False,
        has_hands=False,
        is_run_in=True,
    ),
    Layout(
        "handout-densest",
        picture_mm=21,
        pair_mm=16,
        echo_mm=12.5,
        line=1.06,
        gap_mm=1.2,
        has_whys=False,
        has_hands=False,
        is_run_in=True,
    ),
)


@dataclass(frozen=True)
class Piece:
    """A heading, or a card, as it stands in a column. A heading stays with the card after it."""

    section: Section
    card: Card | None
    height_mm: float


@dataclass(frozen=True)
class Spread:
    """What stands side by side on one page."""

    columns: tuple[tuple[Piece, ...], ...]
    starts_page: bool


@dataclass(frozen=True)
class Packed:
    """The whole sheet in one layout."""

    layout: Layout
    spreads: tuple[Spread, ...]
    pages: int
    rest_starts_page: bool
    cautions: tuple[Sequence[str], ...]
    touch_rules: tuple[Sequence[str], ...]
    rest: tuple[Sequence[ShortList], ...]


def packed(handout: Handout) -> Packed:
    """The roomiest layout that fits on three pages, else on four; the densest if none does."""
    sheets = []
    for layout in LAYOUTS:
        sheets.append(_Sheet(handout, layout).packed())
        if sheets[-1].pages <= USUAL_PAGES:
            return sheets[-1]
    return next((sheet for sheet in sheets if sheet.pages <= MOST_PAGES), sheets[-1])


def unpacked(handout: Handout) -> Packed:
    """Everything in one column, for the phone."""
    column = tuple(_pieces(handout, lambda section, card: 0.0))
    return Packed(
        layout=LAYOUTS[0],
        spreads=(Spread((column,), starts_page=False),),
        pages=1,
        rest_starts_page=False,
        cautions=(handout.cautions,),
        touch_rules=(handout.touch_rules,),
        rest=(handout.short_lists,),
    )


def _pieces(handout: Handout, height: Callable[[Section, Card | None], float]) -> Iterator[Piece]:
    for section in handout.sections:
        yield Piece(section, None, height(section, None))
        for card in section.cards:
            yield Piece(section, card, height(section, card))


class _Sheet:
    """One handout in one layout on its paper."""

    def __init__(self, handout: Handout, layout: Layout) -> None:
        width, height = PAPER_MM[handout.people.paper_size]
        self.handout = handout
        self.layout = layout
        self.width_mm = width - 2 * MARGIN_SIDE_MM
        self.page_mm = height - MARGIN_TOP_MM - MARGIN_BOTTOM_MM
        self.column_mm = (self.width_mm - COLUMN_GAP_MM) / 2

    def packed(self) -> Packed:
        waiting = list(_pieces(self.handout, self._height_mm))
        left_mm = self.page_mm - self._top_mm()
        spreads: list[Spread] = []
        while True:
            columns, rest = _filled(waiting, left_mm)
            if not rest:
                break
            if columns[0]:
                spreads.append(Spread(columns, starts_page=bool(spreads)))
            waiting, left_mm = rest, self.page_mm
        columns, used_mm = _balanced(waiting, left_mm)
        spreads.append(Spread(columns, starts_page=bool(spreads)))
        breaks = used_mm + self._rest_mm() > left_mm
        return Packed(
            layout=self.layout,
            spreads=tuple(spreads),
            pages=len(spreads) + breaks,
            rest_starts_page=breaks,
            cautions=self._in_two(self.handout.cautions)[0],
            touch_rules=self._in_two(self.handout.touch_rules)[0],
            rest=self._rest_in_two()[0],
        )

    # Heights

    def _height_mm(self, section: Section, card: Card | None) -> float:
        height = self._head_mm(section) if card is None else self._card_mm(card)
        return height * CAUTION

    def _head_mm(self, section: Section) -> float:
        heading = [Run(section.title, Face.BOLD, HEADING_SIZE)]
        lines = last_line(heading, Measure(self.column_mm)) * HEADING_SIZE
        if self.layout.has_whys:
            lines += last_line([Run(section.why)], Measure(self.column_mm))
        return lines * self.layout.line_mm + 1.4

    def _card_mm(self, card: Card) -> float:
        picture_mm, pictures = self._picture(card)
        picture_high_mm = picture_mm * PICTURE_SHAPE + 0.8
        beside_mm = picture_mm * pictures + (pictures - 1) * 0.8 + PICTURE_GAP_MM
        line_mm = self.layout.line_mm
        measure = Measure(
            self.column_mm, self.column_mm - beside_mm, ceil(picture_high_mm / line_mm)
        )
        title = [Run(f"{card.number}M {card.title}", Face.BOLD)]
        words = card_runs(card, self.layout)
        if self.layout.is_run_in:
            lines = last_line([*title, Run("."), *words], measure)
        else:
            lines = last_line(words, measure, last_line(title, measure))
        if card.note:
            lines = last_line([Run(card.note)], measure, lines)
        return max(lines * line_mm + NUMBER_MM, picture_high_mm) + self.layout.gap_mm

    def _picture(self, card: Card) -> tuple[float, int]:
        if card.echoes:
            return self.layout.echo_mm, 1
        if len(card.drawings) > 1:
            return self.layout.pair_mm, 2
        return self.layout.picture_mm, 1

    def _top_mm(self) -> float:
        """Title, the box and the touch rules."""
        people = self.handout.people
        facts = f"For {people.client}MM From {people.therapist}MM Date 00 Mon 0000MM How often "
        facts += f"{self.handout.often}, about 00 minutes"
        whole = Measure(self.width_mm - 2 * BOX_INSIDE_MM)
        lines = 1.75 * 1.1 / self.layout.line + last_line([Run(facts)], Measure(self.width_mm))
        lines += 2 * HEADING_SIZE
        lines += self._in_two(self.handout.cautions)[1] + self._touch_lines()
        lines += last_line([Run(self.handout.emergency, Face.BOLD)], whole)
        lines += last_line([Run(" ".join((self.handout.unwell, *self.handout.skipped)))], whole)
        return (lines * self.layout.line_mm + TOP_GAPS_MM) * CAUTION

    def _touch_lines(self) -> int:
        if not self.layout.is_run_in:
            return self._in_two(self.handout.touch_rules)[1]
        rules = Run(" ".join(f"MM {rule}" for rule in self.handout.touch_rules))
        return last_line([rules], Measure(self.width_mm))

    def _in_two(self, texts: Sequence[str]) -> tuple[tuple[Sequence[str], ...], int]:
        """Bullets in two even columns, and the lines of the taller."""
        measure = Measure(self.width_mm / 2 - BOX_INSIDE_MM - BULLET_MM - 2)
        columns, lines = _halved(texts, [last_line([Run(text)], measure) for text in texts])
        return columns, int(lines)

    def _rest_in_two(self) -> tuple[tuple[Sequence[ShortList], ...], float]:
        measure = Measure(self.column_mm - BULLET_MM)
        lists = self.handout.short_lists
        heights = [
            sum(last_line([Run(text)], measure) for text in one.lines) + HEADING_SIZE
            for one in lists
        ]
        return _halved(lists, [lines * self.layout.line_mm + 1.5 for lines in heights])

    def _rest_mm(self) -> float:
        """Skin care and the others, and the diary under them."""
        rows_mm = (len(self.handout.diary_rows) + 1) * DIARY_ROW_MM
        diary_mm = HEADING_SIZE * self.layout.line_mm + rows_mm + 3
        return (self._rest_in_two()[1] + diary_mm) * CAUTION


def card_runs(card: Card, layout: Layout) -> list[Run]:
    """The words of a card under its title, as the template prints them."""
    if card.echoes:
        said = (
            f"Just like step {card.echoes}, on this side."
            if card.is_mirror
            else f"Like step {card.echoes}."
        )
        return [Run(said), Run(card.count + ".", Face.BOLD)]
    runs = [Run(card.position, Face.ITALIC)] if card.is_new_position else []
    if card.parts:
        runs.append(Run(card.parts))
    if layout.has_hands:
        runs.append(Run(card.hand))
    runs.append(Run(card.direction))
    if card.has_own_why:
        runs.append(Run(card.why))
    return [*runs, Run(card.count + ".", Face.BOLD)]


def _halved(
    things: Sequence[Thing], heights: Sequence[float]
) -> tuple[tuple[Sequence[Thing], ...], float]:
    """Things in order in two columns, the taller as short as it can be, and its height."""
    splits = range(len(things) + 1)
    taller = [max(sum(heights[:at]), sum(heights[at:])) for at in splits]
    at = min(splits, key=lambda split: taller[split])
    return (things[:at], things[at:]), taller[at]


def _filled(
    waiting: Sequence[Piece], height_mm: float
) -> tuple[tuple[tuple[Piece, ...], ...], list[Piece]]:
    """Two columns of at most this height, and what is left over."""
    left, rest = _column(waiting, height_mm)
    right, rest = _column(rest, height_mm)
    return (left, right), rest


def _column(waiting: Sequence[Piece], height_mm: float) -> tuple[tuple[Piece, ...], list[Piece]]:
    taken, used_mm = 0, 0.0
    while taken < len(waiting) and used_mm + waiting[taken].height_mm <= height_mm:
        used_mm += waiting[taken].height_mm
        taken += 1
    if taken and taken < len(waiting) and waiting[taken - 1].card is None:
        taken -= 1
    return tuple(waiting[:taken]), list(waiting[taken:])


def _balanced(
    waiting: Sequence[Piece], most_mm: float
) -> tuple[tuple[tuple[Piece, ...], ...], float]:
    """The shortest two columns that hold everything, and their height."""
    height_mm = sum(piece.height_mm for piece in waiting) / 2
    while height_mm < most_mm:
        columns, rest = _filled(waiting, height_mm)
        if not rest:
            break
        height_mm += 1
    columns, _ = _filled(waiting, min(height_mm, most_mm))
    return columns, max(sum(piece.height_mm for piece in column) for column in columns)
