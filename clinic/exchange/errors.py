"""What a person can mend about a list that is to come in. Each carries data only. Pure.

FileError
└── ListError
    ├── YearUnclear, WordUnknown, CellRefused           one cell
    ├── NumberTwice                                     the file against itself
    ├── NobodyFound, ReferrerUnknown, NameNotUnique     whom it names
    ├── NoEpisode                                       a client without an episode of care
    └── ListRefused, DoubtsUnanswered                   the list as a whole; nothing was saved
"""

from typing import Any

from clinic.common.file_errors import FileError


class ListError(FileError):
    """A rule about a list that is to come in."""

    def __init__(self, said: str = "", count: int = 0) -> None:
        super().__init__(said, count)
        self.said = said
        self.count = count


class YearUnclear(ListError):
    """A day that does not begin with its year."""


class WordUnknown(ListError):
    """`said` is none of the words that the column knows."""

    def __init__(self, said: str, known: tuple[str, ...]) -> None:
        super().__init__(said)
        self.known = known


class CellRefused(ListError):
    """What the record does not take, `said` in the words of its own rule."""


class NumberTwice(ListError):
    """A record number that an earlier line has, of number `count`."""


class NobodyFound(ListError):
    """No client has this record number, which stands in `count` lines."""


class ReferrerUnknown(ListError):
    """No referrer goes by this name or address."""


class NameNotUnique(ListError):
    """Several referrers go by this name."""


class NoEpisode(ListError):
    """The client of `count` lines has no episode of care that girths could belong to."""


class ListRefused(ListError):
    """The list has problems, gathered in the report; nothing was saved."""

    def __init__(self, report: Any) -> None:
        super().__init__()
        self.report = report


class DoubtsUnanswered(ListRefused):
    """Some may be registered already, and nobody has said that they are other people."""
