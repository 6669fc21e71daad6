"""In what type an address is printed, so that its last line shows in the window as well. Pure."""

from collections.abc import Iterable
from dataclasses import dataclass
from textwrap import wrap


@dataclass(frozen=True)
class AddressType:
    """A size of type; `style` is its class in the style sheets of letters and batches."""

    style: str
    type_pt: float
    most_lines: int


# So many lines take 17 mm at most, what a US number 10 envelope always shows: 4 of 4.2 mm, 5 of
# 3.35 mm, 6 of 2.8 mm, as the style sheets have them. DIN 5008 form B shows more.
ADDRESS_TYPES = (
    AddressType("", 10, 4),
    AddressType("address-close", 8.5, 5),
    AddressType("address-compact", 7, 6),
)
# In 80 mm of the letter's serif at 10 points, counted in a line of capitals.
CHARACTERS_AT_10_PT = 37


def address_style(lines: Iterable[str]) -> str:
    """The class of the largest type in which all lines fit; of the smallest if they never do."""
    told = list(lines)
    for each in ADDRESS_TYPES:
        width = int(CHARACTERS_AT_10_PT * 10 / each.type_pt)
        if sum(len(wrap(line, width)) for line in told) <= each.most_lines:
            return each.style
    return ADDRESS_TYPES[-1].style
