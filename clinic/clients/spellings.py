"""How people spell a day, and what the words of a search ask for. Pure: standard library only."""

import re
from dataclasses import dataclass
from datetime import date, datetime

# Slashes are read as month/day/year, as the practice's country writes them.
DAY_FORMATS = [
    "%Y-%m-%d",
    "%m/%d/%Y",
    "%d %b %Y",
    "%d %B %Y",
    "%b %d %Y",
    "%B %d %Y",
    "%b %d, %Y",
    "%B %d, %Y",
]
DAY_IN_TEXT = re.compile(
    r"""(?<!\S)(?:
        \d{4}-\d{1,2}-\d{1,2}
      | \d{1,2}/\d{1,2}/\d{4}
      | \d{1,2}\s+[A-Za-z]{3,9}\s+\d{4}
      | [A-Za-z]{3,9}\s+\d{1,2},?\s+\d{4}
    )(?![^\s,;])""",
    re.VERBOSE,
)


@dataclass(frozen=True)
class Wanted:
    """What a search asks for; a client must meet all of it."""

    name_parts: tuple[str, ...] = ()
    number_parts: tuple[str, ...] = ()
    born_on: date | None = None


def read_day(text: str) -> date | None:
    """The day a text spells, or None where it spells none. 3/4/1961 is 4 March 1961."""
    spelled = " ".join(text.split())
    for spelling in DAY_FORMATS:
        try:
            return datetime.strptime(spelled, spelling).date()  # noqa: DTZ007 - a day has no zone
        except ValueError:
            continue
    return None


def read_search(text: str) -> Wanted:
    """Split search words into a date of birth, name parts, and parts of a record number.

    Words may stand in any order. A word with a digit is part of a record number.
    """
    born_on, rest = None, text.replace("\0", " ")
    found = DAY_IN_TEXT.search(rest)
    if found and (born_on := read_day(found.group())):
        rest = f"{rest[: found.start()]} {rest[found.end() :]}"
    words = [word for word in re.split(r"[\s,;]+", rest) if word]
    return Wanted(
        name_parts=tuple(word for word in words if not _has_digit(word)),
        number_parts=tuple(word for word in words if _has_digit(word)),
        born_on=born_on,
    )


def _has_digit(word: str) -> bool:
    return any(character.isdigit() for character in word)
