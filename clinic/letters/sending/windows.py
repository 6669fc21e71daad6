"""Where a window envelope shows the address on a sheet folded for it. Pure; millimetres.

All measures from memory of the standards, not re-read; the printed result is to be held against
an envelope of the practice's own before the first batch.
"""

from dataclasses import dataclass

INCH_MM = 25.4


@dataclass(frozen=True)
class Window:
    """What always shows, from the left and upper edge of the sheet."""

    left_mm: float
    top_mm: float
    right_mm: float
    bottom_mm: float

    def holds(self, other: "Window") -> bool:
        return (
            self.left_mm <= other.left_mm
            and self.top_mm <= other.top_mm
            and other.right_mm <= self.right_mm
            and other.bottom_mm <= self.bottom_mm
        )


# DIN 5008 form B (A4 in a DL envelope by DIN 680): the field begins 45 mm from the upper edge and
# 20 mm from the left, is 85 mm wide and 45 mm high; its upper 17.7 mm are for the sender's line
# and postal notes, the 27.3 mm below for the address.
DIN_5008_B_FIELD_TOP_MM = 45.0
DIN_5008_B_FIELD_LEFT_MM = 20.0
DIN_5008_B_FIELD_WIDTH_MM = 85.0
DIN_5008_B_NOTES_HEIGHT_MM = 17.7
DIN_5008_B_ADDRESS_HEIGHT_MM = 27.3
# DL envelope by DIN 680: 110 mm high, its window 15 mm from the lower edge.
DL_HEIGHT_MM = 110.0
DL_WINDOW_BOTTOM_MM = 15.0

# US number 10 envelope, 4 1/8 by 9 1/2 inches, with the usual left window: 1 1/8 by 4 1/2 inches,
# 7/8 inch from the left and 1/2 inch from the bottom. US Letter in three is 11/3 inches high.
US_10_HEIGHT_MM = 4.125 * INCH_MM
US_10_LENGTH_MM = 9.5 * INCH_MM
US_10_WINDOW_LEFT_MM = 0.875 * INCH_MM
US_10_WINDOW_BOTTOM_MM = 0.5 * INCH_MM
US_10_WINDOW_WIDTH_MM = 4.5 * INCH_MM
US_10_WINDOW_HEIGHT_MM = 1.125 * INCH_MM
US_LETTER_THIRD_MM = 11 / 3 * INCH_MM
US_LETTER_WIDTH_MM = 8.5 * INCH_MM


def _din_5008_b() -> Window:
    top = DIN_5008_B_FIELD_TOP_MM + DIN_5008_B_NOTES_HEIGHT_MM
    return Window(
        left_mm=DIN_5008_B_FIELD_LEFT_MM,
        top_mm=top,
        right_mm=DIN_5008_B_FIELD_LEFT_MM + DIN_5008_B_FIELD_WIDTH_MM,
        bottom_mm=top + DIN_5008_B_ADDRESS_HEIGHT_MM,
    )


def _us_10() -> Window:
    """What shows wherever the sheet has slid to: down or up, left or right in its envelope."""
    play_up = US_10_HEIGHT_MM - US_LETTER_THIRD_MM
    play_across = US_10_LENGTH_MM - US_LETTER_WIDTH_MM
    lower_edge = US_LETTER_THIRD_MM - US_10_WINDOW_BOTTOM_MM
    return Window(
        left_mm=US_10_WINDOW_LEFT_MM,
        top_mm=lower_edge - US_10_WINDOW_HEIGHT_MM + play_up,
        right_mm=US_10_WINDOW_LEFT_MM + US_10_WINDOW_WIDTH_MM - play_across,
        bottom_mm=lower_edge,
    )


DIN_5008_B = _din_5008_b()
US_10 = _us_10()
# By paper size of the practice.
WINDOWS = {"A4": DIN_5008_B, "letter": US_10}
# How far down the sheet may show at all, when it has slid up in its envelope: nothing that the
# letter says may stand above this line.
REACH_MM = {
    "A4": DL_HEIGHT_MM - DL_WINDOW_BOTTOM_MM,
    "letter": US_10_HEIGHT_MM - US_10_WINDOW_BOTTOM_MM,
}
