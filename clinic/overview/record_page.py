"""The lines of the record as they are shown: who looked and changed, and what was changed."""

from collections import defaultdict
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from operator import attrgetter
from typing import Any

from django.core.paginator import Page, Paginator

from clinic.audit.models import Change, Entry
from clinic.audit.selectors import (
    changes_by_nobody,
    changes_in,
    changes_of,
    entries_beside,
    history_of,
)
from clinic.audit.sentences import LOOKS, sentence
from clinic.audit.wording import ChangeWords, in_words
from clinic.clients.models import Client

PAGE_LENGTH = 50
# More changes past the application than this are a matter for whoever runs the server.
MOST_PAST = 20
# A series moved changes many rows at once; the first of them say what was done.
MOST_IN_A_LINE = 12


@dataclass(frozen=True)
class HistoryLine:
    """One entry, its sentence, and what it changed."""

    entry: Entry
    words: str
    changes: tuple[ChangeWords, ...]
    changes_not_shown: int


def history_page(client: Client, number: str) -> Page[Any]:
    """One page of the client's record history, each entry with what it changed."""
    page = Paginator(history_of(client), PAGE_LENGTH).get_page(number)
    shown = list(page.object_list)
    changes = list(changes_in({entry.act for entry in shown}, client=client))
    beside = history_of(client).filter(act__in={change.act for change in changes})
    page.object_list = _lines(shown, _by_entry(changes, beside, place=attrgetter("act")))
    return page


def lines_of(entries: Iterable[Entry]) -> list[HistoryLine]:
    """Entries of many records, each with what it changed in its own. No query where all only
    looked; else one, and where something changed one more and one for each kind of it."""
    shown = list(entries)
    changing = [entry for entry in shown if entry.verb not in LOOKS]
    changes = list(changes_of(changing)) if changing else []
    beside = entries_beside(changes) if changes else ()
    place = attrgetter("act", "client_id")
    return _lines(shown, _by_entry(changes, beside, place=place))


def _by_entry(
    changes: Iterable[Change], beside: Iterable[Entry], *, place: Callable[[Any], Any]
) -> dict[int, list[Change]]:
    """Each change with the last entry of its place that names its row, or else the last of all."""
    last: dict[Any, int] = {}
    for entry in sorted(beside, key=attrgetter("pk")):
        last[place(entry)] = last[place(entry), entry.subject] = entry.pk
    together: defaultdict[int, list[Change]] = defaultdict(list)
    for change in changes:
        where = place(change)
        together[last.get((where, change.subject), last.get(where, 0))].append(change)
    return together


def _lines(entries: Iterable[Entry], changes: dict[int, list[Change]]) -> list[HistoryLine]:
    shown = list(entries)
    mine = [changes.get(entry.pk, []) for entry in shown]
    first = [change for together in mine for change in together[:MOST_IN_A_LINE]]
    words = {one.change.pk: one for one in in_words(first)}
    return [_line(entry, own, words) for entry, own in zip(shown, mine, strict=True)]


def _line(entry: Entry, changes: list[Change], words: dict[int, ChangeWords]) -> HistoryLine:
    told = tuple(words[change.pk] for change in changes[:MOST_IN_A_LINE])
    return HistoryLine(entry, sentence(entry.verb), told, len(changes) - len(told))


def changes_past_us(client: Client) -> list[ChangeWords]:
    """The latest changes that nobody signed in made: by the database's own tools."""
    return in_words(changes_by_nobody(client)[:MOST_PAST])
