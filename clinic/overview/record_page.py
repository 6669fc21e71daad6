"""The lines of the record as they are shown: who looked and changed, and what was changed."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django.core.paginator import Page, Paginator

from clinic.audit.models import Change, Entry
from clinic.audit.selectors import changes_by_nobody, changes_in, changes_of, history_of
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
    """One page of the client's record history. Changes stand with the last entry of their act."""
    page = Paginator(history_of(client), PAGE_LENGTH).get_page(number)
    shown = list(page.object_list)
    by_act: defaultdict[UUID | None, list[Change]] = defaultdict(list)
    for change in changes_in({entry.act for entry in shown}, client=client):
        by_act[change.act].append(change)
    words = _worded(by_act.values())
    page.object_list = [_line(entry, by_act.pop(entry.act, []), words) for entry in shown]
    return page


def lines_of(entries: Iterable[Entry]) -> list[HistoryLine]:
    """Entries of many records, each with what it changed in its own. No query where all only
    looked; else one, and one for each kind of thing changed or pointed to."""
    shown = list(entries)
    changing = [entry for entry in shown if entry.verb not in LOOKS]
    by_act: defaultdict[tuple[UUID | None, UUID | None], list[Change]] = defaultdict(list)
    for change in changes_of(changing) if changing else ():
        by_act[change.act, change.client_id].append(change)
    words = _worded(by_act.values())
    return [_line(one, by_act.pop((one.act, one.client_id), []), words) for one in shown]


def _worded(changes: Iterable[list[Change]]) -> dict[int, ChangeWords]:
    first = [change for together in changes for change in together[:MOST_IN_A_LINE]]
    return {one.change.pk: one for one in in_words(first)}


def _line(entry: Entry, changes: list[Change], words: dict[int, ChangeWords]) -> HistoryLine:
    told = tuple(words[change.pk] for change in changes[:MOST_IN_A_LINE])
    return HistoryLine(entry, sentence(entry.verb), told, len(changes) - len(told))


def changes_past_us(client: Client) -> list[ChangeWords]:
    """The latest changes that nobody signed in made: by the database's own tools."""
    return in_words(changes_by_nobody(client)[:MOST_PAST])
