"""An erasure takes two persons and a reason, and leaves a number that says so."""

import json
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta
from typing import Any
from zipfile import ZipFile

import pytest
from dateutil.relativedelta import relativedelta
from django.db import DatabaseError, IntegrityError, OperationalError, connection, transaction
from django.test import Client as Browser
from django.urls import reverse

from clinic.clients.errors import RecordGone
from clinic.clients.models import Client
from clinic.clients.record_requests import CopyRequest, CorrectionRequest
from clinic.clients.selectors import Search, clients_found
from clinic.exchange.services.requests import answer_correction, ask_copy, ask_correction
from clinic.keeping import errors
from clinic.keeping.models import Erasure, ErasureGround
from clinic.keeping.selectors.merging import DETAILS
from clinic.keeping.services.erasing import BLANK, ask_erasure, confirm_erasure, withdraw_erasure
from clinic.keeping.services.exporting import export_client
from clinic.keeping.services.merging import merge_clients
from clinic.scheduling.services.reminders import agree_to_reminders
from clinic.scheduling.words import ReminderChannel
from tests.builders import make_client, make_episode, today
from tests.cast import Cast, make_cast
from tests.clinic.scheduling.desk import booked
from tests.clinic.visits.charting import signed

pytestmark = pytest.mark.django_db


@pytest.fixture
def client_past() -> Client:
    """Registered 11 years ago and never seen since."""
    client = make_client(given_name="Perpetua", phone="555 0199", record_number="T900")
    Client.objects.update(registered_at=datetime.now(UTC) - relativedelta(years=11))
    return client


def asked(client: Client, cast: Cast, **differences: Any) -> Erasure:
    values = {"ground": ErasureGround.RETENTION, "reason": "Asked by the client in March."}
    return ask_erasure(client=client, by=cast.lead, **values | differences)


def test_only_another_person_can_confirm(cast: Cast, client_past: Client) -> None:
    erasure = asked(client_past, cast)
    with pytest.raises(errors.SamePerson):
        confirm_erasure(erasure=erasure, by=cast.lead)
    with pytest.raises(IntegrityError), transaction.atomic():
        Erasure.objects.update(confirmed_by=cast.lead, confirmed_at=datetime.now(UTC))
    confirm_erasure(erasure=erasure, by=cast.therapist)
    client_past.refresh_from_db()
    assert client_past.erased_at is not None
    assert (client_past.given_name, client_past.phone) == ("Record", "")


def test_within_the_period_only_the_law_erases(cast: Cast) -> None:
    client = make_client()
    with pytest.raises(errors.StillKept) as kept:
        asked(client, cast)
    assert kept.value.until == today() + relativedelta(years=10)
    assert asked(client, cast, ground=ErasureGround.LAW).is_open


def test_who_is_booked_to_come_is_not_erased(cast: Cast, client_past: Client) -> None:
    booked(cast.therapist, today() + timedelta(days=2), client=client_past)
    with pytest.raises(errors.StillBooked):
        asked(client_past, cast)


def wrong(client: Client, cast: Cast) -> CorrectionRequest:
    request = CorrectionRequest(
        asked_on=today(), asked_by="the client", claimed_wrong="The side.", wished="Write left."
    )
    return ask_correction(client=client, request=request, by=cast.lead)


def test_who_waits_for_an_answer_is_not_erased(
    cast: Cast, lead: Browser, client_past: Client
) -> None:
    """Whatever the ground; the copy asked for could never be given."""
    copy = CopyRequest(asked_on=today(), asked_by="the client", identity="photo card seen")
    ask_copy(client=client_past, request=copy, by=cast.lead)
    wrong(client_past, cast)
    typed = {"ground": "law", "reason": "Order 12 of the court"}
    page = lead.post(reverse("client-erase", args=[client_past.pk]), typed).content.decode()
    on = f"asked for on {today():%-d %b %Y}"
    assert f"a copy of the record, {on} and a correction of the record, {on}." in page
    assert not Erasure.objects.exists()


def test_what_is_asked_before_it_is_confirmed_stops_it(cast: Cast, client_past: Client) -> None:
    erasure = asked(client_past, cast)
    twin = make_client()
    request = wrong(client_past, cast)
    with pytest.raises(errors.StillAsked):
        confirm_erasure(erasure=erasure, by=cast.therapist)
    client_past.refresh_from_db()
    assert client_past.given_name == "Perpetua"
    answer_correction(request=request, on=today(), is_accepted=True, answer="Done.", by=cast.lead)
    wrong(twin, cast)  # of another client: it stops nothing
    assert confirm_erasure(erasure=erasure, by=cast.therapist).removed["correction requests"] == 1


@pytest.mark.django_db(transaction=True)
def test_an_erasure_waits_for_a_request_that_is_just_being_noted() -> None:
    """Or it would pass by what is not committed yet, which would then hang on a blanked record."""
    cast, client = make_cast(), make_client()
    erasure = asked(client, cast, ground=ErasureGround.LAW)

    def confirmed_impatiently() -> None:
        try:
            with transaction.atomic(), connection.cursor() as cursor:
                cursor.execute("SET LOCAL lock_timeout = '100ms'")
                confirm_erasure(erasure=erasure, by=cast.therapist)
        finally:
            connection.close()

    with ThreadPoolExecutor() as others, transaction.atomic():
        wrong(client, cast)
        with pytest.raises(OperationalError, match="lock timeout"):
            others.submit(confirmed_impatiently).result()
    with pytest.raises(errors.StillAsked):
        confirm_erasure(erasure=erasure, by=cast.therapist)


def test_nothing_is_asked_of_a_record_that_is_gone(cast: Cast, client_past: Client) -> None:
    """As by somebody who had the form open; it would hang on the blanked record for good."""
    confirm_erasure(erasure=asked(client_past, cast), by=cast.therapist)
    with pytest.raises(RecordGone):
        wrong(client_past, cast)
    copy = CopyRequest(asked_on=today(), asked_by="the client", identity="photo card seen")
    with pytest.raises(RecordGone):
        ask_copy(client=client_past, request=copy, by=cast.lead)


def test_an_erasure_is_asked_once_and_can_be_withdrawn(cast: Cast, client_past: Client) -> None:
    erasure = asked(client_past, cast)
    with pytest.raises(errors.AskedAlready):
        asked(client_past, cast)
    with pytest.raises(errors.AskedAlready):
        merge_clients(kept=make_client(), other=client_past, taking=[], by=cast.lead)
    withdraw_erasure(erasure=erasure, by=cast.therapist)
    with pytest.raises(errors.NotOpen):
        confirm_erasure(erasure=erasure, by=cast.therapist)
    client_past.refresh_from_db()
    assert client_past.given_name == "Perpetua"


def test_every_detail_of_a_client_is_blanked_or_says_nothing_of_the_person(
    cast: Cast, client_past: Client
) -> None:
    """So that a detail added later is not left behind; and a merge asks which of two holds."""
    stays = {"id", "record_number", "registered_at", "deactivated_at", "merged_into", "erased_at"}
    made_of_others = {"folded_name"}
    details = {field.name for field in Client._meta.concrete_fields} - stays - made_of_others
    assert details == set(BLANK) == {*DETAILS, "deactivated_reason"}
    confirm_erasure(erasure=asked(client_past, cast), by=cast.therapist)
    assert Client.objects.filter(pk=client_past.pk).values(*BLANK).get() == BLANK


def test_what_was_asked_and_decided_stays_even_by_sql(cast: Cast, client_past: Client) -> None:
    """Else who asked could have somebody else stand for it, and confirm."""
    withdrawn = asked(client_past, cast)
    refused(withdrawn, asked_by=cast.therapist)
    refused(withdrawn, ground=ErasureGround.LAW)
    refused(withdrawn, withdrawn_at=datetime.now(UTC))  # by nobody
    withdraw_erasure(erasure=withdrawn, by=cast.therapist)
    refused(withdrawn, withdrawn_at=None, withdrawn_by=None)
    refused(withdrawn, withdrawn_by=cast.lead)
    confirmed = confirm_erasure(erasure=asked(client_past, cast), by=cast.therapist)
    refused(confirmed, removed={"visit notes": 1})
    refused(confirmed, confirmed_by=cast.other_therapist)


def refused(erasure: Erasure, **change: Any) -> None:
    with pytest.raises(DatabaseError), transaction.atomic():
        Erasure.objects.filter(pk=erasure.pk).update(**change)


def test_records_merged_into_it_are_erased_with_it(cast: Cast, client_past: Client) -> None:
    twin = make_client(given_name="Perpetua")
    signed(cast.therapist, make_episode(twin, cast.therapist))
    merge_clients(kept=client_past, other=twin, taking=[], by=cast.lead)
    erasure = asked(client_past, cast, ground=ErasureGround.LAW)
    confirmed = confirm_erasure(erasure=erasure, by=cast.therapist)
    assert confirmed.removed["visit notes"] == 1
    assert not Client.objects.filter(given_name="Perpetua").exists()


def test_what_is_left_is_found_by_nobody_but_who_has_the_link(
    cast: Cast, lead: Browser, client_past: Client
) -> None:
    confirm_erasure(erasure=asked(client_past, cast), by=cast.therapist)
    for words in ("T900", "Perpetua", "erased", "Record"):
        assert not clients_found(cast.lead, Search(words, includes_inactive=True)).object_list
    page = lead.get(reverse("client", args=[client_past.pk]))
    assert page.status_code == 410
    assert "Record T900 was erased" in page.content.decode()
    listed = lead.get(reverse("erasures")).content.decode()
    assert "Asked by the client in March." in listed
    assert "confirmed by Theo Marsh" in listed


def test_an_export_holds_what_a_merged_record_said_and_what_stayed_with_it(
    cast: Cast, client_past: Client
) -> None:
    twin = make_client(given_name="Petua", phone="555 0111")
    for client in (client_past, twin):
        agree_to_reminders(client=client, channel=ReminderChannel.PHONE, by=cast.front_desk)
    merge_clients(kept=client_past, other=twin, taking=[], by=cast.lead)
    with ZipFile(export_client(client=client_past, by=cast.lead)) as archive:
        people = json.loads(archive.read("record-T900/rows/clients.client.json"))
        agreed = json.loads(archive.read("record-T900/rows/scheduling.reminderconsent.json"))
    assert {(one["given_name"], one["phone"]) for one in people} == {
        ("Perpetua", "555 0199"),
        ("Petua", "555 0111"),
    }
    assert len(agreed) == 2


# Pages


def test_the_lead_asks_and_a_therapist_is_told_and_confirms(
    lead: Browser, therapist: Browser, client_past: Client
) -> None:
    typed = {"ground": "retention", "reason": "Asked by letter"}
    assert lead.post(reverse("client-erase", args=[client_past.pk]), typed).url == reverse(
        "erasures"
    )
    told = "1 erasure waits for a second person."
    assert told in therapist.get(reverse("today")).content.decode()
    assert told not in lead.get(reverse("today")).content.decode()
    erasure = Erasure.objects.get()
    page = reverse("erasure-confirm", args=[erasure.pk])
    assert "You asked for this yourself" in lead.get(page).content.decode()
    wrong = therapist.post(page, {"record_number": "T90"})
    assert "Type T900, exactly" in wrong.content.decode()
    assert wrong.context["form"]["record_number"].value() == "T90"
    assert therapist.post(page, {"record_number": "T900"}).url == reverse("erasures")
    assert Erasure.objects.get().confirmed_at


def test_a_refusal_keeps_what_was_typed(lead: Browser) -> None:
    page = lead.post(
        reverse("client-erase", args=[make_client().pk]), {"ground": "retention", "reason": "Tidy"}
    )
    assert "This record must be kept until" in page.content.decode()
    assert page.context["form"]["reason"].value() == "Tidy"
    assert not Erasure.objects.exists()


def test_a_therapist_can_withdraw_once(cast: Cast, therapist: Browser, client_past: Client) -> None:
    erasure = asked(client_past, cast)
    address = reverse("erasure-withdraw", args=[erasure.pk])
    assert therapist.get(address).status_code == 405
    assert therapist.post(address).url == reverse("erasures")
    again = therapist.post(address, follow=True).content.decode()
    assert "Nothing was changed" in again


def test_who_may_not_is_refused(
    cast: Cast, signed_in: Callable[[Any], Browser], client_past: Client
) -> None:
    erasure = asked(client_past, cast)
    desk, therapist = signed_in(cast.front_desk), signed_in(cast.therapist)
    assert desk.get(reverse("erasures")).status_code == 403
    assert desk.post(reverse("erasure-confirm", args=[erasure.pk])).status_code == 403
    for name in ("client-erase", "client-export", "client-merge"):
        assert therapist.get(reverse(name, args=[client_past.pk])).status_code == 403
    assert therapist.post(reverse("client-export-file", args=[client_past.pk])).status_code == 403


def test_an_export_is_one_file_that_names_no_client(lead: Browser, client_past: Client) -> None:
    assert (
        "The file is not encrypted"
        in lead.get(reverse("client-export", args=[client_past.pk])).content.decode()
    )
    response = lead.post(reverse("client-export-file", args=[client_past.pk]))
    assert response["Content-Disposition"] == 'attachment; filename="record-T900.zip"'
    assert b"".join(response.streaming_content).startswith(b"PK")  # type: ignore[attr-defined]
