"""How many lines a text takes, from the advance widths of the printed typeface. Lengths in mm.

Kerning is left out, so a line comes out a little too long rather than too short.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cache
from itertools import count

from fontTools.ttLib import TTFont

from clinic.common.finders import package_file
from clinic.common.vocabulary import Word

MM_PER_POINT = 25.4 / 72  # exact, desktop publishing point
TYPE_PT = 14.0
TYPE_MM = TYPE_PT * MM_PER_POINT


class Face(Word):
    REGULAR = "SourceSansPro-Regular.otf", "regular"
    ITALIC = "SourceSansPro-It.otf", "italic"
    SEMIBOLD = "SourceSansPro-Semibold.otf", "semibold"
    BOLD = "SourceSansPro-Bold.otf", "bold"


@dataclass(frozen=True)
class Run:
    """A piece of text in one face; `size` multiplies the body type."""

    text: str
    face: Face = Face.REGULAR
    size: float = 1.0


@dataclass(frozen=True)
class Measure:
    """How wide lines are: the first `narrow_lines` stand beside a picture."""

    wide_mm: float
    narrow_mm: float = 0.0
    narrow_lines: int = 0

    def width_mm(self, line: int) -> float:
        return self.narrow_mm if line < self.narrow_lines else self.wide_mm


@cache
def _advances(face: Face) -> dict[str, float]:
    """Width of each character in ems."""
    with TTFont(package_file("font_source_sans_pro", face.value)) as font:
        widths, em = font["hmtx"], font["head"].unitsPerEm
        return {chr(code): widths[name][0] / em for code, name in font.getBestCmap().items()}


@cache
def width_mm(text: str, face: Face, size: float = 1.0) -> float:
    """Width of a text on one line; an unknown character counts as wide as an M."""
    advances = _advances(face)
    return sum(advances.get(char, advances["M"]) for char in text) * TYPE_MM * size


def last_line(runs: Iterable[Run], measure: Measure, first: int = 0) -> int:
    """The line after the last one, when the text starts on line `first`."""
    line, filled = first, 0.0
    for word_mm, space_mm in _words(runs):
        if filled and filled + space_mm + word_mm > measure.width_mm(line):
            line, filled = line + 1, 0.0
        if not filled:  # a word too wide for the narrow lines moves down to where it fits
            line = next(n for n in count(line) if _fits(word_mm, measure, n))
        filled += (space_mm if filled else 0.0) + word_mm
    return line + 1 if filled else line


def _fits(word_mm: float, measure: Measure, line: int) -> bool:
    return word_mm <= measure.width_mm(line) or line >= measure.narrow_lines


def _words(runs: Iterable[Run]) -> Iterator[tuple[float, float]]:
    for run in runs:
        space_mm = width_mm(" ", run.face, run.size)
        for word in filter(None, run.text.split(" ")):  # a no-break space joins
            yield width_mm(word, run.face, run.size), space_mm
