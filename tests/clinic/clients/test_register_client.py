"""Registering a client, a likely double, and a referrer on the way."""

from datetime import timedelta
from typing import Any

import pytest
from django.test import Client as Browser
from django.utils import timezone

from clinic.audit.models import Entry
from clinic.clients import services
from clinic.clients.errors import LooksLikeAnother
from clinic.clients.models import Client, Referrer
from tests.builders import make_client, make_referrer
from tests.cast import Cast
from tests.clinic.clients.answers import client_answers, referrer_answers

URL = "/clients/new/"


def register(browser: Browser, **differences: Any) -> str:
    return browser.post(URL, client_answers(**differences)).content.decode()


def test_a_client_is_registered_under_the_next_number(desk: Browser, cast: Cast) -> None:
    page = desk.post(URL, client_answers())
    client = Client.objects.get()
    assert page.headers["Location"] == f"/clients/{client.pk}/"
    assert client.record_number.isdigit()
    assert int(client.record_number) >= 10001
    entry = Entry.objects.get()
    assert (entry.verb, entry.client, entry.by) == ("client.registered", client, cast.front_desk)


def test_numbers_typed_by_hand_are_skipped(desk: Browser) -> None:
    register(desk)
    next_one = str(int(Client.objects.get().record_number) + 1)
    make_client(record_number=next_one)
    register(desk, given_name="Linus", born_on="3 Jan 1950")
    assert Client.objects.get(given_name="Linus").record_number == str(int(next_one) + 1)


@pytest.mark.parametrize("spelling", ["1/2/1950", "1950-01-02", "Jan 2, 1950"])
def test_a_date_of_birth_is_read_in_several_spellings(desk: Browser, spelling: str) -> None:
    register(desk, born_on=spelling)
    assert f"{Client.objects.get().born_on}" == "1950-01-02"


@pytest.mark.parametrize(
    ("differences", "sentence"),
    [
        ({"born_on": "31/31/1950"}, "This is not a day"),
        ({"born_on": "2 Jan 1889"}, "Check the year"),
        ({"born_on": f"{timezone.localdate() + timedelta(days=1)}"}, "still to come"),
        ({"email": "odette at home"}, "valid email"),
        ({"given_name": ""}, "required"),
        ({"record_number": "T1"}, "Another client has this record number"),
    ],
)
def test_bad_input_is_told_beside_the_field_and_kept(
    desk: Browser, differences: dict[str, str], sentence: str
) -> None:
    make_client(record_number="T1")
    page = register(desk, **differences)
    assert sentence in page
    assert 'value="Pell"' in page
    for typed in filter(None, differences.values()):
        assert f'value="{typed}"' in page
    assert Client.objects.count() == 1


def test_a_likely_double_is_questioned_before_saving(desk: Browser) -> None:
    known = make_client()
    page = register(
        desk, given_name="Margeurite", family_name="Angstrom", born_on="4 Mar 1961", phone="555 77"
    )
    assert "Perhaps registered already" in page
    assert f'href="/clients/{known.pk}/"' in page
    assert "a small difference in spelling" in page
    assert 'value="Margeurite"' in page
    assert 'value="555 77"' in page
    assert Client.objects.count() == 1


def test_register_anyway_is_deliberate(desk: Browser) -> None:
    known = make_client()
    answers = client_answers(family_name="Angstrom", born_on="4 Mar 1961", given_name="Marguerite")
    page = desk.post(URL, answers).content.decode()
    assert f'name="anyway" value="{known.pk} "' in page
    assert desk.post(URL, answers | {"anyway": f"{known.pk} "}).status_code == 302
    assert Client.objects.count() == 2


def test_a_double_not_yet_shown_is_questioned_all_the_same(desk: Browser) -> None:
    known = make_client()
    make_client(given_name="Margerite")
    answers = client_answers(family_name="Angstrom", born_on="4 Mar 1961", given_name="Marguerite")
    assert desk.post(URL, answers | {"anyway": f"{known.pk}"}).status_code == 200
    assert Client.objects.count() == 2


def test_enter_never_registers_a_likely_double(desk: Browser) -> None:
    """A browser presses the first button of a form when Enter is typed in a field."""
    make_client()
    answers = client_answers(family_name="Angstrom", born_on="4 Mar 1961", given_name="Marguerite")
    page = desk.post(URL, answers).content.decode()
    form = page[page.index('<form method="post" novalidate') :]
    assert form.index("Compare once more") < form.index("Register anyway</button>")
    assert "anyway" not in form[form.index("<button") :].split(">")[0]


def test_deactivated_clients_count_as_doubles_too(cast: Cast) -> None:
    known = make_client()
    services.deactivate_client(client=known, reason="Moved", by=cast.front_desk)
    with pytest.raises(LooksLikeAnother) as caught:
        services.register_client(
            client=Client(given_name="Marguerite", family_name="Ångström", born_on=known.born_on),
            by=cast.front_desk,
        )
    assert [alike.client for alike in caught.value.look_alikes] == [known]


def test_a_new_referrer_is_added_with_the_client(desk: Browser) -> None:
    desk.post(URL, client_answers() | referrer_answers("new-"))
    client = Client.objects.get()
    assert client.referrer is not None
    assert client.referrer.family_name == "Grebe"
    assert set(Entry.objects.values_list("verb", flat=True)) == {
        "client.registered",
        "referrer.added",
    }


def test_a_faulty_new_referrer_loses_nothing_of_the_client(desk: Browser) -> None:
    page = desk.post(
        URL, client_answers() | referrer_answers("new-", delivery="fax", fax="")
    ).content.decode()
    assert "type the fax number" in page
    assert 'value="Pell"' in page
    assert 'value="Grebe"' in page
    assert not Client.objects.exists()
    assert not Referrer.objects.exists()


def test_a_questioned_double_adds_no_referrer(desk: Browser) -> None:
    make_client()
    answers = client_answers(given_name="Marguerite", family_name="Ångström", born_on="4 Mar 1961")
    page = desk.post(URL, answers | referrer_answers("new-")).content.decode()
    assert 'value="Grebe"' in page
    assert not Referrer.objects.exists()


def test_referrers_out_of_use_are_not_offered(desk: Browser) -> None:
    make_referrer(family_name="Farrow")
    make_referrer(family_name="Gone", is_active=False)
    page = desk.get(URL).content.decode()
    assert "Farrow, Dr. Odile" in page
    assert "Gone" not in page
