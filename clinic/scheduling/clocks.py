"""How people type a time of day. Pure: standard library only."""

import re
from datetime import time

TYPED = re.compile(r"(\d{1,2})(?:[:.h ]?(\d{2}))?\s*(?:([ap])\.?\s*m?\.?)?", re.I)


def read_clock(text: str) -> time | None:
    """The time that 9, 930, 9:30, 09.30, 2 pm or 14:30 spells, or None where it spells none."""
    found = TYPED.fullmatch(text.strip())
    if found is None:
        return None
    hour, minute, half = int(found[1]), int(found[2] or 0), (found[3] or "").lower()
    if half and not 1 <= hour <= 12:
        return None
    if half:
        hour = hour % 12 + (12 if half == "p" else 0)
    return time(hour, minute) if hour < 24 and minute < 60 else None
