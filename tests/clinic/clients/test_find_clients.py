"""The list of clients: who is found, in which order, by whom, at what cost."""

import unicodedata
from datetime import date

import pytest
from django.db import connection
from django.test import Client as Browser
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from clinic.accounts.models import User
from clinic.clients.models import Client
from clinic.clients.selectors import Order, Search, clients_found
from tests.builders import make_client, make_episode, make_referrer
from tests.cast import Cast

URL = "/clients/"


@pytest.fixture
def marguerite(cast: Cast) -> Client:
    make_client(given_name="Odette", family_name="Pell", born_on=date(1950, 1, 2))
    return make_client(record_number="10077")


def found(user: User, words: str, **asked: object) -> list[str]:
    return [str(client) for client in clients_found(user, Search(words, **asked))]


@pytest.mark.parametrize(
    "words",
    [
        "ång",
        "ANGSTROM",
        "angstrom, marg",
        "marguerite Ångström",
        unicodedata.normalize("NFD", "Ångström"),
        "guer",
        "10077",
        "1961-03-04",
        "3/4/1961",
        "4 mar 1961 ang",
    ],
)
def test_a_client_is_found_by_any_part(cast: Cast, marguerite: Client, words: str) -> None:
    assert found(cast.front_desk, words) == ["Ångström, Marguerite"]


@pytest.mark.parametrize("words", ["odette ångström", "4 Mar 1962", "%", "_", "10078", "x\0y"])
def test_every_word_must_fit(cast: Cast, marguerite: Client, words: str) -> None:
    assert found(cast.front_desk, words) == []


def test_deactivated_clients_are_listed_only_when_asked_for(cast: Cast, marguerite: Client) -> None:
    Client.objects.filter(pk=marguerite.pk).update(
        deactivated_at="2026-01-01T12:00Z", deactivated_reason="Moved away"
    )
    assert found(cast.lead, "ang") == []
    assert found(cast.lead, "ang", includes_inactive=True) == ["Ångström, Marguerite"]


def test_the_list_sorts_people_by_folded_name_birth_or_number(
    cast: Cast, marguerite: Client
) -> None:
    make_client(given_name="Zoe", family_name="ábel", born_on=date(1970, 1, 1), record_number="2")
    by_name = ["ábel, Zoe", "Ångström, Marguerite", "Pell, Odette"]
    assert found(cast.lead, "") == by_name
    assert found(cast.lead, "", order=Order.BORN) == [by_name[2], by_name[1], by_name[0]]
    assert found(cast.lead, "", order=Order.NUMBER)[:2] == [by_name[1], by_name[0]]


def test_the_page_works_for_everybody(desk: Browser, therapist: Browser, lead: Browser) -> None:
    for browser in (desk, therapist, lead):
        assert browser.get(URL).status_code == 200


def test_search_words_are_kept_in_the_field(desk: Browser, marguerite: Client) -> None:
    page = desk.post(URL, {"words": "nobody here", "page": "x", "order": "tallest"})
    assert page.status_code == 200
    assert 'value="nobody here"' in page.content.decode()
    assert '<option value="name" selected>' in page.content.decode()
    assert "Nobody fits all of these words" in page.content.decode()


def test_a_search_never_travels_in_an_address(desk: Browser, marguerite: Client) -> None:
    assert "Pell" in desk.get(URL, {"words": "Ångström"}).content.decode()
    page = desk.get(URL).content.decode()
    assert 'method="get"' not in page
    assert "hx-push-url" not in page


def test_typing_gets_only_the_result_list(desk: Browser, marguerite: Client) -> None:
    part = desk.post(URL, {"words": "ang"}, headers={"HX-Request": "true"}).content.decode()
    assert "Ångström, Marguerite" in part
    assert "<html" not in part


def test_a_page_of_the_list_costs_one_count_one_query_and_one_for_merged_records(
    cast: Cast,
) -> None:
    for number in range(60):
        make_client(given_name=f"Given{number:02}", record_number=f"N{number}")
    with CaptureQueriesContext(connection) as asked:
        page = clients_found(cast.front_desk, Search("ang", page=2))
        list(page)
    assert len(asked) == 3
    assert (len(page.object_list), page.paginator.num_pages) == (25, 3)


def test_pages_go_by_post_and_keep_the_words(desk: Browser, cast: Cast) -> None:
    for number in range(30):
        make_client(given_name=f"Given{number:02}", record_number=f"N{number}")
    page = desk.post(URL, {"words": "given", "page": "2"}).content.decode()
    assert "Page 2 of 2" in page
    assert '<input type="hidden" name="words" value="given">' in page
    assert "Given29" in page
    assert "Given00" not in page


def test_the_front_desk_fetches_no_clinical_field(desk: Browser, cast: Cast) -> None:
    client = make_client(referrer=make_referrer())
    make_episode(client, cast.therapist)
    with CaptureQueriesContext(connection) as asked:
        page = desk.post(URL, {"words": "ang"}).content.decode()
    assert "I97" not in page
    statements = " ".join(query["sql"] for query in asked)
    assert "clients_client" in statements
    for table in ("clients_episode", "clients_precautionfound", "clients_affectedregion"):
        assert table not in statements


def test_an_empty_practice_says_what_to_do(desk: Browser) -> None:
    page = desk.get(URL).content.decode()
    assert "No client is registered yet" in page
    assert reverse("client-new") in page
