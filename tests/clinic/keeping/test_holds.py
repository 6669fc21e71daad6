"""A held record cannot be erased until a clinic lead lifts the hold, whatever its period."""

from datetime import UTC, datetime
from typing import Any

import pytest
from dateutil.relativedelta import relativedelta
from django.db import DatabaseError, IntegrityError, transaction
from django.test import Client as Browser
from django.urls import reverse

from clinic.audit.selectors import history_of
from clinic.clients.errors import RecordGone
from clinic.clients.models import Client
from clinic.keeping import errors
from clinic.keeping.models import Erasure, ErasureGround, Hold
from clinic.keeping.selectors.retention import past_retention
from clinic.keeping.services.erasing import ask_erasure, confirm_erasure
from clinic.keeping.services.holding import hold_record, lift_hold
from clinic.keeping.services.merging import merge_clients
from tests.builders import make_client, today
from tests.cast import Cast

pytestmark = pytest.mark.django_db

WHY = "A claim was announced on 3 March."


@pytest.fixture
def client_past() -> Client:
    """Registered 11 years ago and never seen since."""
    client = make_client(given_name="Perpetua", record_number="T900")
    Client.objects.update(registered_at=datetime.now(UTC) - relativedelta(years=11))
    return client


def asked(client: Client, cast: Cast, ground: ErasureGround = ErasureGround.RETENTION) -> Erasure:
    return ask_erasure(client=client, ground=ground, reason="Past its period.", by=cast.lead)


@pytest.mark.parametrize("ground", ErasureGround)
def test_a_held_record_is_not_erased_until_the_hold_is_lifted(
    cast: Cast, client_past: Client, ground: ErasureGround
) -> None:
    hold = hold_record(client=client_past, reason=WHY, by=cast.lead)
    with pytest.raises(errors.StillHeld) as held:
        asked(client_past, cast, ground)
    assert held.value.reason == WHY
    lift_hold(hold=hold, because="The claim is settled.", by=cast.lead)
    assert asked(client_past, cast, ground).is_open
    verbs = [entry.verb for entry in history_of(client_past)]
    assert verbs == ["erasure.asked", "hold.lifted", "hold.placed"]


def test_a_hold_stops_an_erasure_that_was_asked_before(cast: Cast, client_past: Client) -> None:
    erasure = asked(client_past, cast)
    hold = hold_record(client=client_past, reason=WHY, by=cast.lead)
    with pytest.raises(errors.StillHeld):
        confirm_erasure(erasure=erasure, by=cast.therapist)
    client_past.refresh_from_db()
    assert client_past.given_name == "Perpetua"
    lift_hold(hold=hold, because="The claim is settled.", by=cast.lead)
    assert confirm_erasure(erasure=erasure, by=cast.therapist).removed["holds against erasure"] == 1
    with pytest.raises(RecordGone):
        hold_record(client=client_past, reason=WHY, by=cast.lead)


def test_a_record_is_held_once_and_a_hold_lifted_once(cast: Cast, client_past: Client) -> None:
    hold = hold_record(client=client_past, reason=WHY, by=cast.lead)
    with pytest.raises(errors.HeldAlready):
        hold_record(client=client_past, reason="Another claim.", by=cast.lead)
    with pytest.raises(IntegrityError, match="held_once"), transaction.atomic():
        Hold.objects.create(client=client_past, reason="Another claim.", placed_by=cast.lead)
    lift_hold(hold=hold, because="The claim is settled.", by=cast.lead)
    with pytest.raises(errors.NotOpen):
        lift_hold(hold=hold, because="Once more.", by=cast.lead)
    hold_record(client=client_past, reason="Another claim.", by=cast.lead)


@pytest.mark.parametrize(
    "change", [{"reason": "Nothing."}, {"lifted_because": "Otherwise."}, {"lifted_at": None}]
)
def test_what_a_hold_says_stays(cast: Cast, client_past: Client, change: dict[str, Any]) -> None:
    hold = hold_record(client=client_past, reason=WHY, by=cast.lead)
    lift_hold(hold=hold, because="The claim is settled.", by=cast.lead)
    with pytest.raises(DatabaseError, match="Cannot update"), transaction.atomic():
        Hold.objects.update(**change)
    with pytest.raises(DatabaseError, match="Cannot delete"), transaction.atomic():
        Hold.objects.all()._raw_delete("default")


def test_a_merge_takes_the_hold_along(cast: Cast, client_past: Client) -> None:
    """The kept record's own, lifted since, is the newer one: the older one still stands."""
    other = make_client(family_name="Twin")
    older = hold_record(client=other, reason=WHY, by=cast.lead)
    newer = hold_record(client=client_past, reason="Another claim.", by=cast.lead)
    lift_hold(hold=newer, because="The claim is settled.", by=cast.lead)
    merge_clients(kept=client_past, other=other, taking=[], by=cast.lead)
    older.refresh_from_db()
    assert older.client == client_past
    with pytest.raises(errors.StillHeld):
        asked(client_past, cast)


def test_of_two_held_records_merged_each_hold_is_lifted(cast: Cast, client_past: Client) -> None:
    other = make_client(family_name="Twin")
    holds = [hold_record(client=each, reason=WHY, by=cast.lead) for each in (client_past, other)]
    merge_clients(kept=client_past, other=other, taking=[], by=cast.lead)
    for hold in holds:
        assert [line.is_held for line in past_retention("1", today=today())] == [True]
        with pytest.raises(errors.StillHeld):
            asked(client_past, cast)
        lift_hold(hold=hold, because="The claim is settled.", by=cast.lead)
    assert asked(client_past, cast).is_open


def test_the_lead_holds_and_lifts_and_the_lists_say_so(lead: Browser, client_past: Client) -> None:
    page = reverse("client-hold", args=[client_past.pk])
    assert page in lead.get(reverse("client", args=[client_past.pk])).text
    assert "This field is required." in lead.post(page, {"reason": " "}).text
    shown = lead.post(page, {"reason": WHY}, follow=True).text
    assert "Nobody can erase this record until it is lifted." in shown
    assert WHY in shown
    assert "Held against erasure" in lead.get(reverse("retention")).text
    typed = {"ground": "retention", "reason": "Past its period"}
    refused = lead.post(reverse("client-erase", args=[client_past.pk]), typed)
    assert f"held against erasure (“{WHY}”)" in refused.text
    assert 'value="Past its period"' in refused.text
    lifting = reverse("hold-lift", args=[Hold.objects.get().pk])
    assert lifting in shown
    assert lead.get(lifting).status_code == 200
    told = lead.post(lifting, {"because": "The claim is settled."}, follow=True).text
    assert "The claim is settled." in told
    late = lead.post(lifting, {"because": "Once more."})
    assert "This was lifted on" in late.text
    assert "Held against erasure" not in lead.get(reverse("retention")).text
