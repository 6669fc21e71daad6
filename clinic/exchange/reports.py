"""What a list would become: the dry run as frozen values."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from hashlib import sha256
from typing import Any

from clinic.common.csv_files import Problem, Table


@dataclass(frozen=True)
class Doubt:
    """Somebody of the list who may be there already: where, who, and why."""

    line: int
    who: str
    like: str
    why: str


@dataclass(frozen=True)
class Incoming:
    """One line, or one session of several lines: the unsaved row, and what a page shows of it."""

    line: int
    row: Any
    cells: tuple[str, ...]


@dataclass(frozen=True)
class ListReport:
    """The dry run. Nothing may be saved while there are problems, or doubts without an answer."""

    table: Table
    heads: tuple[str, ...]
    incoming: tuple[Incoming, ...]
    problems: tuple[Problem, ...]
    waiting: int = 0  # sessions that lack what a line with a problem may say
    doubts: tuple[Doubt, ...] = ()
    remarks: tuple[tuple[int, str], ...] = ()
    parts: Sequence[Any] = field(default=(), compare=False)

    @property
    def is_ready(self) -> bool:
        return bool(self.incoming) and not self.problems

    @property
    def mark(self) -> str:
        """Changes whenever somebody else comes into doubt, so that no answer covers unseen ones."""
        return sha256(repr(self.doubts).encode()).hexdigest()[:16]


def in_order(problems: Sequence[Problem]) -> tuple[Problem, ...]:
    return tuple(sorted(problems, key=lambda problem: problem.line))
