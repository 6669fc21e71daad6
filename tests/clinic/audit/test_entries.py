"""The record of access is written once and for all."""

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from django.db import DatabaseError, connection, transaction
from django.test import Client as Browser
from django.urls import reverse

from clinic.audit import services as audit
from clinic.audit.models import Entry
from clinic.audit.sentences import SENTENCES
from tests.builders import make_client
from tests.cast import Cast

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE audit_entry SET verb = 'client.edited'",
        "DELETE FROM audit_entry",
        "TRUNCATE audit_entry",
    ],
)
def test_an_entry_cannot_be_changed_or_removed_even_by_sql(cast: Cast, statement: str) -> None:
    audit.record(cast.therapist, "client.opened", client=make_client())
    with pytest.raises(DatabaseError), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(statement)
    assert Entry.objects.get().verb == "client.opened"


def test_opening_a_client_page_leaves_an_entry(desk: Browser, cast: Cast) -> None:
    person = make_client()
    desk.get(reverse("client", args=[person.pk]))
    entry = Entry.objects.get()
    assert (entry.by, entry.verb, entry.client) == (cast.front_desk, "client.opened", person)


def test_the_lead_reads_a_record_history_in_sentences(lead: Browser, cast: Cast) -> None:
    person = make_client()
    audit.record(cast.therapist, "girths.recorded", client=person)
    page = lead.get(reverse("client-history", args=[person.pk])).text
    assert "Theo Marsh" in page
    assert "recorded girths" in page


CODE = Path(__file__).parents[3]
RECORDING = re.compile(r"(?:record|record_for_each|note_look)\(([^()]*(?:\([^()]*\)[^()]*)*)\)")
VERB = re.compile(r"\"([a-z_]+\.[a-z_]+)\"")


def verbs_in_the_code() -> Iterator[str]:
    for app in ("clinic", "measurements", "programmes"):
        for path in (CODE / app).rglob("*.py"):
            for arguments in RECORDING.findall(path.read_text()):
                yield from VERB.findall(arguments)


def test_every_verb_that_is_recorded_has_a_sentence() -> None:
    recorded = set(verbs_in_the_code())
    assert len(recorded) > 100
    assert recorded - SENTENCES.keys() == set()
