"""What a row of a client's record said before is kept, whoever changes it and however."""

from datetime import date

import pytest
from django.apps import apps
from django.db import connection
from django.test import Client as Browser
from django.urls import reverse
from django.utils import timezone

from clinic.accounts.models import User
from clinic.audit import services as audit
from clinic.audit.models import Change
from clinic.audit.verify import verified
from clinic.audit.wording import in_words
from clinic.clients.models import Client
from measurements.models import GirthSession
from tests.builders import (
    make_client,
    make_episode,
    make_protocol,
    make_referrer,
    make_session,
)
from tests.cast import Cast
from tests.clinic.audit.test_chain import as_at_commit, faults, run, tamper

pytestmark = pytest.mark.django_db

# Rows of a client's record whose previous values are not kept, and why.
NOT_WATCHED = {
    "audit_entry": "the record itself",
    "audit_change": "the record itself",
    "measurements_keptstanding": "computed, and computed again from the girths",
    "measurements_girthdraft": "a draft that saves itself, gone once recorded",
    "programmes_precautionreview": "never changed: a trigger refuses it",
    "visits_progressreported": "never changed: a trigger refuses it",
    "clients_copyrequest": "answered once, then a trigger refuses",
    "clients_correctionrequest": "answered once, then a trigger refuses",
    "clients_emergencyaccess": "opened once and reviewed once, by columns of its own",
    "keeping_hold": "placed once and lifted once, by columns of its own",
    "keeping_erasure": "who asked for an erasure and who confirmed it, by columns of its own",
    "letters_runletter": "the desk's list of one month, not the record; each step has its column",
}


def watched() -> set[str]:
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT tgrelid::regclass::text FROM pg_trigger WHERE tgname = 'audit_update_kept'"
            " INTERSECT"
            " SELECT tgrelid::regclass::text FROM pg_trigger WHERE tgname = 'audit_delete_kept'"
        )
        return {table for (table,) in cursor.fetchall()}


def test_every_table_of_a_clients_record_is_watched_or_says_why_not() -> None:
    of_clients = {
        model._meta.db_table
        for model in apps.get_models()
        for field in model._meta.concrete_fields
        if field.column in {"client_id", "episode_id"}
    }
    assert of_clients - watched() - NOT_WATCHED.keys() == set()


def told(change: Change) -> list[tuple[str, str, str]]:
    (words,) = in_words([change])
    return [(field.name, field.before, field.after) for field in words.fields]


def test_a_bulk_update_keeps_what_was_there_in_words(cast: Cast) -> None:
    person = make_client(born_on=date(1960, 3, 3))
    Client.objects.filter(pk=person.pk).update(
        born_on=date(1961, 3, 3), referrer=make_referrer(), agrees_to_letters=False, sex="male"
    )
    change = Change.objects.get()
    assert (change.table, change.row, change.client_id) == (
        "clients_client",
        str(person.pk),
        person.pk,
    )
    assert told(change) == [
        ("agrees to progress letters going to the referrer", "yes", "no"),
        ("date of birth", "3 Mar 1960", "3 Mar 1961"),
        ("referrer", "nothing", "Dr. Odile Farrow"),
        ("sex", "female", "male"),
    ]


def test_what_stays_the_same_is_not_kept(cast: Cast) -> None:
    person = make_client()
    Client.objects.filter(pk=person.pk).update(given_name=person.given_name)
    assert not Change.objects.exists()


def test_a_deleted_row_is_kept_whole_with_its_client(cast: Cast) -> None:
    person = make_client()
    region = make_episode(person, cast.therapist).regions.get()
    run(f"DELETE FROM clients_affectedregion WHERE id = {region.pk}")
    change = Change.objects.get()
    assert (change.is_deletion, change.client_id) == (True, person.pk)
    assert ("side", "right", "nothing") in told(change)


def test_passwords_are_never_kept(cast: Cast) -> None:
    assert {table for table in watched() if table.startswith("accounts_")} == {"accounts_user"}
    cast.lead.set_password("another tape in hand 8")
    cast.lead.must_choose_password = True
    cast.lead.last_login = cast.lead.one_time_until = timezone.now()
    cast.lead.save()
    assert not Change.objects.exists()


def test_of_an_account_only_what_the_lead_edits_is_kept(cast: Cast) -> None:
    User.objects.filter(pk=cast.therapist.pk).update(
        sign_in_name="theodora",
        display_name="Theodora Marsh",
        credentials="",
        role="front_desk",
        needs_cosignature=True,
        is_active=False,
        password="!",
        must_choose_password=True,
        last_login=timezone.now(),
        one_time_until=timezone.now(),
    )
    change = Change.objects.get()
    assert told(change) == [
        ("credentials", "PT, DPT", "nothing"),
        ("name", "Theo Marsh", "Theodora Marsh"),
        ("is active", "yes", "no"),
        ("notes need a co-signature", "no", "yes"),
        ("role", "therapist", "front desk"),
        ("sign in name", "theo", "theodora"),
    ]
    names = {field.column for field in User._meta.concrete_fields} - {"id"}
    never = {"password", "must_choose_password", "last_login", "one_time_until"}
    assert names - (change.values or {}).keys() == never


def test_a_change_is_chained_and_a_tampered_value_found(cast: Cast) -> None:
    person = make_client()
    Client.objects.filter(pk=person.pk).update(phone="555 0100")
    as_at_commit()
    assert verified().is_intact
    tamper("""UPDATE audit_change SET values = '{"phone": ["", "555 0199"]}'""")
    assert len(faults()) == 1
    assert "are not as they were written" in faults()[0]


def test_erased_values_leave_the_chain_whole(cast: Cast) -> None:
    person = make_client()
    now = timezone.now()
    Client.objects.filter(pk=person.pk).update(
        phone="555 0100", deactivated_at=now, deactivated_reason="Erased.", erased_at=now
    )
    as_at_commit()
    assert audit.forget_values(clients=[person.pk], rows={}) == 1
    found = verified()
    assert (found.is_intact, found.erased) == (True, 1)
    assert "555 0100" not in str(Change.objects.values_list()[0])


def test_values_blanked_without_an_erasure_are_found(cast: Cast) -> None:
    Client.objects.filter(pk=make_client().pk).update(phone="555 0100")
    as_at_commit()
    tamper("UPDATE audit_change SET values = NULL, salt = NULL")
    (fault,) = faults()
    assert "were taken away, and its client was not erased" in fault


def test_a_changed_session_is_named_by_its_day(cast: Cast) -> None:
    episode = make_episode(make_client(), cast.therapist)
    session = make_session(episode, make_protocol(), taken_on=date(2026, 2, 5))
    GirthSession.objects.filter(pk=session.pk).update(is_baseline=True)
    (words,) = in_words(Change.objects.all())
    assert words.what == "girth session (arm girths of 5 Feb 2026)"
    assert [(field.before, field.after) for field in words.fields] == [("no", "yes")]


def test_the_history_page_says_what_was_changed(lead: Browser, cast: Cast) -> None:
    person = make_client(born_on=date(1960, 3, 3))
    Client.objects.filter(pk=person.pk).update(born_on=date(1961, 3, 3))
    audit.record(cast.front_desk, "client.edited", client=person)
    page = lead.get(reverse("client-history", args=[person.pk])).text
    assert "date of birth: 3 Mar 1960" in page
    assert "3 Mar 1961" in page
    assert "Changed past the application" not in page


def test_a_change_without_entry_is_shown_as_made_past_the_application(
    lead: Browser, cast: Cast
) -> None:
    person = make_client()
    run(f"UPDATE clients_client SET phone = '555 0100' WHERE id = '{person.pk}'")
    assert (
        "Changed past the application" in lead.get(reverse("client-history", args=[person.pk])).text
    )


def test_neither_desk_nor_therapist_sees_the_history(desk: Browser, therapist: Browser) -> None:
    person = make_client()
    for browser in (desk, therapist):
        assert browser.get(reverse("client-history", args=[person.pk])).status_code == 403
        assert browser.get(reverse("record")).status_code == 403
        assert browser.post(reverse("record-file")).status_code == 403
