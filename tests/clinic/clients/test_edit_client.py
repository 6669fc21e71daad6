"""Editing a client, also by two people at once; taking one off the lists and back."""

import html
import json
from typing import Any

import pytest
from django.test import Client as Browser

from clinic.audit.models import Entry
from clinic.clients import editing, services
from clinic.clients.errors import ChangedMeanwhile
from clinic.clients.forms.clients import ClientForm
from clinic.clients.models import Client
from tests.builders import make_client, make_referrer
from tests.cast import Cast

WATCHED = ClientForm.Meta.fields


@pytest.fixture
def client_of_ours(cast: Cast) -> Client:
    return make_client(phone="555 0100", referrer=make_referrer())


def answers_of(client: Client, **differences: Any) -> dict[str, Any]:
    before = editing.written(editing.said_by(client, WATCHED))
    typed = {
        name: "" if value == "None" else value
        for name, value in editing.said_by(client, WATCHED).items()
        if value != "False"
    }
    return typed | {"before": before} | differences


def url_of(client: Client) -> str:
    return f"/clients/{client.pk}/edit/"


def test_details_are_edited_and_recorded(desk: Browser, client_of_ours: Client) -> None:
    page = desk.post(url_of(client_of_ours), answers_of(client_of_ours, town="Mere"))
    assert page.status_code == 302
    client_of_ours.refresh_from_db()
    assert client_of_ours.town == "Mere"
    assert Entry.objects.get().verb == "client.edited"


def test_opening_the_form_is_recorded(desk: Browser, client_of_ours: Client) -> None:
    page = desk.get(url_of(client_of_ours)).content.decode()
    assert 'value="4 Mar 1961"' in page
    assert Entry.objects.get().verb == "client.opened"


def test_bad_input_keeps_what_was_typed(desk: Browser, client_of_ours: Client) -> None:
    answers = answers_of(client_of_ours, born_on="some day", town="Mere")
    page = desk.post(url_of(client_of_ours), answers).content.decode()
    assert "This is not a day" in page
    assert 'value="some day"' in page
    assert 'value="Mere"' in page


def test_the_second_of_two_sees_both_and_loses_nothing(
    desk: Browser, lead: Browser, client_of_ours: Client
) -> None:
    url = url_of(client_of_ours)
    first = answers_of(client_of_ours, phone="555 1111", street="7 Quay Road")
    second = answers_of(client_of_ours, phone="555 2222", town="Mere")
    assert desk.post(url, first).status_code == 302
    page = lead.post(url, second).content.decode()
    assert "somebody else saved changes" in page
    assert "<td>555 1111</td><td>555 2222</td>" in page
    assert 'value="555 2222"' in page  # what this person typed
    assert 'value="Mere"' in page
    assert 'value="7 Quay Road"' in page  # what they had not touched is the other's
    client_of_ours.refresh_from_db()
    assert client_of_ours.phone == "555 1111"


def test_the_second_may_then_save_deliberately(
    desk: Browser, lead: Browser, client_of_ours: Client
) -> None:
    url = url_of(client_of_ours)
    second = answers_of(client_of_ours, phone="555 2222")
    desk.post(url, answers_of(client_of_ours, phone="555 1111"))
    page = lead.post(url, second).content.decode()
    said = html.unescape(page.split('name="before" value="')[1].split('"')[0])
    assert json.loads(said)["phone"] == "555 1111"
    assert lead.post(url, second | {"before": said}).status_code == 302
    client_of_ours.refresh_from_db()
    assert client_of_ours.phone == "555 2222"


@pytest.mark.parametrize("before", ["", "{}", "not json", "[1]", '{"password": "x"}'])
def test_a_form_without_its_memory_is_questioned(
    desk: Browser, client_of_ours: Client, before: str
) -> None:
    answers = answers_of(client_of_ours, town="Mere", before=before)
    page = desk.post(url_of(client_of_ours), answers).content.decode()
    assert "somebody else saved changes" in page
    assert 'value="Mere"' in page


def test_the_service_refuses_a_stale_edit(cast: Cast, client_of_ours: Client) -> None:
    before = editing.said_by(client_of_ours, WATCHED)
    Client.objects.filter(pk=client_of_ours.pk).update(town="Elsewhere")
    with pytest.raises(ChangedMeanwhile) as caught:
        services.edit_client(client=client_of_ours, before=before, by=cast.lead)
    assert caught.value.stored.town == "Elsewhere"


def test_an_emptied_record_number_is_given_anew(desk: Browser, client_of_ours: Client) -> None:
    desk.post(url_of(client_of_ours), answers_of(client_of_ours, record_number=""))
    client_of_ours.refresh_from_db()
    assert int(client_of_ours.record_number) >= 10001


def test_a_client_leaves_the_lists_for_a_reason(desk: Browser, client_of_ours: Client) -> None:
    url = f"/clients/{client_of_ours.pk}/deactivate/"
    assert desk.get(url).status_code == 200
    assert "required" in desk.post(url, {"reason": " "}).content.decode()
    assert desk.post(url, {"reason": "Moved to the coast"}).status_code == 302
    client_of_ours.refresh_from_db()
    assert not client_of_ours.is_active
    assert client_of_ours.deactivated_reason == "Moved to the coast"
    assert Entry.objects.get().verb == "client.deactivated"
    assert desk.get(url).status_code == 404


def test_deactivation_can_be_undone(desk: Browser, client_of_ours: Client) -> None:
    desk.post(f"/clients/{client_of_ours.pk}/deactivate/", {"reason": "Moved"})
    url = f"/clients/{client_of_ours.pk}/reactivate/"
    assert desk.get(url).status_code == 405
    assert desk.post(url).status_code == 302
    client_of_ours.refresh_from_db()
    assert client_of_ours.is_active
    assert Entry.objects.first().verb == "client.reactivated"
