"""One client's record history: who looked and changed, and what was changed."""

from collections import defaultdict
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django.core.paginator import Page, Paginator

from clinic.audit.models import Entry
from clinic.audit.selectors import changes_by_nobody, changes_in, history_of
from clinic.audit.sentences import sentence
from clinic.audit.wording import ChangeWords, in_words
from clinic.clients.models import Client

PAGE_LENGTH = 50
# More changes past the application than this are a matter for whoever runs the server.
MOST_PAST = 20


@dataclass(frozen=True)
class HistoryLine:
    """One entry, its sentence, and what it changed."""

    entry: Entry
    words: str
    changes: tuple[ChangeWords, ...]


def history_page(client: Client, number: str) -> Page[Any]:
    """One page of the client's record history. Changes stand with the last entry of their act."""
    page = Paginator(history_of(client), PAGE_LENGTH).get_page(number)
    shown = list(page.object_list)
    told = in_words(changes_in({entry.act for entry in shown}, client=client))
    by_act: defaultdict[UUID, list[ChangeWords]] = defaultdict(list)
    for one in told:
        by_act[one.change.act].append(one)
    page.object_list = [
        HistoryLine(entry, sentence(entry.verb), tuple(by_act.pop(entry.act, ())))
        for entry in shown
    ]
    return page


def changes_past_us(client: Client) -> list[ChangeWords]:
    """The latest changes that nobody signed in made: by the database's own tools."""
    return in_words(changes_by_nobody(client)[:MOST_PAST])
