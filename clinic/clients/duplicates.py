"""Whether two people born on the same day may be one. Pure: standard library only.

Deliberately generous: a needless look at a list costs a moment, a second record costs a history.
"""

import re
import unicodedata
from dataclasses import dataclass

from clinic.common.vocabulary import Word

# Letters that Unicode does not take apart into a base letter and an accent.
WHOLE_LETTERS = str.maketrans(
    {"ø": "o", "ł": "l", "đ": "d", "ð": "d", "þ": "th", "æ": "ae", "œ": "oe", "ı": "i"}
)
# Common practice, no source: one slip in a short name is already another name.
SHORTEST_WITH_ONE_SLIP = 4
SHORTEST_WITH_TWO_SLIPS = 8


class Likeness(Word):
    """Why two names may belong to one person."""

    SAME = "same", "the same name"
    SWAPPED = "swapped", "given and family name swapped"
    PART = "part", "part of the name missing"
    INITIAL = "initial", "an initial instead of a name"
    SLIP = "slip", "a small difference in spelling"
    GIVEN_NAME = "given_name", "the same given name, perhaps a new family name"


@dataclass(frozen=True)
class FullName:
    given_name: str
    family_name: str

    def swapped(self) -> "FullName":
        return FullName(self.family_name, self.given_name)


def likeness(one: FullName, other: FullName) -> Likeness | None:
    """Why the two may be the same person, or None. Symmetric; both were born on the same day."""
    straight = _likeness_in_order(one, other)
    if straight not in {None, Likeness.GIVEN_NAME}:
        return straight
    crossed = {
        _likeness_in_order(one.swapped(), other),
        _likeness_in_order(one, other.swapped()),
    }
    return Likeness.SWAPPED if crossed - {None, Likeness.GIVEN_NAME} else straight


def fold(name: str) -> str:
    """Lower case without accents, hyphens as spaces: 'Ó Briain-Łuk' -> 'o briain luk'."""
    apart = unicodedata.normalize("NFKD", name).casefold().translate(WHOLE_LETTERS)
    plain = "".join(letter for letter in apart if not unicodedata.combining(letter))
    return " ".join(re.sub(r"[^\w\s]", "", re.sub(r"[-/.]", " ", plain)).split())


def slips(one: str, other: str) -> int:
    """Letters inserted, lost, replaced or exchanged with their neighbour between two words.

    Source: optimal string alignment, Boytsov, ACM J Exp Algorithmics 2011;16:1.1 [memory].
    """
    before: list[int] = []
    row = list(range(len(other) + 1))
    for i, letter in enumerate(one, start=1):
        before, above, row = row, before, [i]
        for j, wanted in enumerate(other, start=1):
            change = before[j - 1] + (letter != wanted)
            cost = min(before[j] + 1, row[j - 1] + 1, change)
            if i > 1 and j > 1 and letter == other[j - 2] and one[i - 2] == wanted:
                cost = min(cost, above[j - 2] + 1)
            row.append(cost)
    return row[-1]


def _likeness_in_order(one: FullName, other: FullName) -> Likeness | None:
    given = _part_likeness(fold(one.given_name), fold(other.given_name))
    family = _part_likeness(fold(one.family_name), fold(other.family_name))
    if family in {None, Likeness.INITIAL}:
        return Likeness.GIVEN_NAME if given is Likeness.SAME else None
    if given is None:
        return None
    return max(given, family, key=list(Likeness).index)  # the weaker of the two


def _part_likeness(one: str, other: str) -> Likeness | None:
    """How two folded given names, or two folded family names, are alike."""
    if not one or not other:
        return None
    if one.replace(" ", "") == other.replace(" ", ""):
        return Likeness.SAME
    if _is_initial_of(one, other) or _is_initial_of(other, one):
        return Likeness.INITIAL
    if set(one.split()) <= set(other.split()) or set(other.split()) <= set(one.split()):
        return Likeness.PART
    return Likeness.SLIP if slips(one, other) <= _slips_allowed(one, other) else None


def _is_initial_of(one: str, other: str) -> bool:
    first, *rest = one.split()
    return len(first) == 1 and other.startswith(first) and all(len(part) == 1 for part in rest)


def _slips_allowed(one: str, other: str) -> int:
    shorter = min(len(one), len(other))
    return (shorter >= SHORTEST_WITH_ONE_SLIP) + (shorter >= SHORTEST_WITH_TWO_SLIPS)
