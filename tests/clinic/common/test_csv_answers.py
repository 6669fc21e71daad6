"""Every CSV file that leaves says of itself that it is UTF-8, or a spreadsheet garbles names."""

from codecs import BOM_UTF8

import pytest
from django.test import Client as Browser
from django.urls import reverse

from clinic.exchange.layouts import ListKind
from tests.builders import make_client, make_episode, make_protocol
from tests.cast import Cast

EXAMPLES = [
    *(reverse("exchange-import", args=[kind]) for kind in ListKind),
    reverse("appointments-import"),
    reverse("size-chart-import"),
]
TAKEN_BY_GET = [reverse("reminders-file"), reverse("practice-report-file")]
TAKEN_BY_POST = [reverse("exchange-out", args=["girths"]), reverse("record-file")]


def assert_says_it_is_utf_8(raw: bytes) -> None:
    assert raw.startswith(BOM_UTF8)
    assert "\ufeff" not in raw.decode("utf-8-sig")


@pytest.mark.parametrize("address", [*(f"{each}?example=1" for each in EXAMPLES), *TAKEN_BY_GET])
def test_a_file_that_is_opened_begins_with_the_signature(lead: Browser, address: str) -> None:
    assert_says_it_is_utf_8(lead.get(address).content)


@pytest.mark.parametrize("address", TAKEN_BY_POST)
def test_a_file_that_is_streamed_begins_with_it_once(lead: Browser, address: str) -> None:
    answer = lead.post(address, {"many": "30", "order": "latest"})
    assert answer["Content-Type"] == "text/csv; charset=utf-8"
    assert_says_it_is_utf_8(b"".join(answer.streaming_content))


def test_so_does_the_example_of_one_clients_girths(therapist: Browser, cast: Cast) -> None:
    make_protocol()
    episode = make_episode(make_client(), cast.therapist)
    answer = therapist.get(reverse("girths-import", args=[episode.pk]), {"example": "1"})
    assert_says_it_is_utf_8(answer.content)
