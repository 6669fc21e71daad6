"""Two records of one person become one; what was signed or sent stays byte for byte."""

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.test import Client as Browser
from django.urls import reverse

from clinic.audit.models import Entry
from clinic.audit.selectors import history_of
from clinic.clients.editing import said_by
from clinic.clients.errors import RecordGone
from clinic.clients.models import Client, PrecautionFound
from clinic.clients.selectors import Search, clients_found, look_alikes
from clinic.clients.services import deactivate_client, edit_client
from clinic.common.vocabulary import Precaution, Sex
from clinic.keeping import errors
from clinic.keeping.belongings import direct_references
from clinic.keeping.models import Merge
from clinic.keeping.selectors.merging import merge_preview, overlapping
from clinic.keeping.services.merging import merge_clients
from clinic.scheduling.models import Appointment, ReminderConsent
from clinic.scheduling.words import ReminderChannel
from tests.builders import make_client, make_episode, make_referrer, today
from tests.cast import Cast
from tests.clinic.scheduling.desk import booked
from tests.clinic.visits.charting import signed

pytestmark = pytest.mark.django_db


@pytest.fixture
def other(cast: Cast) -> Client:
    client = make_client()
    signed(cast.therapist, make_episode(client, cast.therapist))
    booked(cast.therapist, today() + timedelta(days=3), client=client)
    return client


@pytest.fixture
def kept() -> Client:
    return make_client(given_name="Margret", phone="555 0147", record_number="T777")


def test_chosen_details_are_taken_and_the_rest_stays(
    cast: Cast, kept: Client, other: Client
) -> None:
    merge_clients(kept=kept, other=other, taking=["given_name", "record_number"], by=cast.lead)
    kept.refresh_from_db()
    assert (kept.given_name, kept.phone, kept.record_number) == ("Marguerite", "555 0147", "T777")
    assert Merge.objects.get().fields_taken == ["given_name"]


def test_what_is_missing_on_the_kept_record_is_offered_from_the_other(cast: Cast) -> None:
    kept = make_client(sex=Sex.NOT_SAID, email="m@example.org")
    other = make_client(phone="555 0147", referrer=make_referrer(), agrees_to_letters=False)
    offered = {
        one.name: one.takes_other for one in merge_preview(kept=kept, other=other).differences
    }
    wanted = {"sex": True, "email": False, "phone": True, "referrer": True}
    assert offered == wanted | {"agrees_to_letters": True}


def test_the_old_number_name_and_link_lead_to_the_kept_record(
    cast: Cast, lead: Browser, kept: Client, other: Client
) -> None:
    merge_clients(kept=kept, other=other, taking=[], by=cast.lead)
    for words in (other.record_number, "marguerite", "margret"):
        assert list(clients_found(cast.front_desk, Search(words, includes_inactive=True))) == [kept]
    response = lead.get(reverse("client", args=[other.pk]), follow=True)
    assert response.redirect_chain == [(reverse("client", args=[kept.pk]), 302)]
    assert f"Record {other.record_number} was merged" in response.content.decode()
    for name in ("client-edit", "episode-new", "client-merge", "client-erase"):
        assert lead.get(reverse(name, args=[other.pk])).status_code == 404
    assert lead.post(reverse("client-reactivate", args=[other.pk])).status_code == 404
    assert look_alikes(kept) == []


def test_a_record_merged_twice_over_leads_to_the_last(cast: Cast, kept: Client) -> None:
    first, second = make_client(), make_client()
    merge_clients(kept=second, other=first, taking=[], by=cast.lead)
    merge_clients(kept=kept, other=second, taking=[], by=cast.lead)
    first.refresh_from_db()
    assert first.merged_into == kept


def test_both_records_say_that_they_were_merged(cast: Cast, kept: Client, other: Client) -> None:
    merge_clients(kept=kept, other=other, taking=[], by=cast.lead)
    said = Entry.objects.filter(verb="client.merged").order_by("pk")
    assert [(entry.client_id, entry.by) for entry in said] == [
        (kept.pk, cast.lead),
        (other.pk, cast.lead),
    ]
    assert set(said) <= set(history_of(kept))


def test_bookings_at_the_same_time_are_told_and_nothing_is_merged(cast: Cast, kept: Client) -> None:
    other = make_client()
    mine = booked(cast.therapist, today() + timedelta(days=3), client=kept)
    theirs = booked(cast.other_therapist, today() + timedelta(days=3), client=other)
    assert merge_preview(kept=kept, other=other).overlaps == ((mine, theirs),)
    with pytest.raises(errors.BookingsOverlap):
        merge_clients(kept=kept, other=other, taking=[], by=cast.lead)
    assert Appointment.objects.get(pk=theirs.pk).client == other


@pytest.mark.parametrize(
    ("statuses", "advice"),
    [
        (("done", "done"), "Both are done, and what is done stays."),
        (("done", "booked"), "Cancel or move one of the two first."),
    ],
)
def test_each_pair_of_bookings_is_named_with_what_can_be_done(
    cast: Cast, lead: Browser, kept: Client, statuses: tuple[str, str], advice: str
) -> None:
    """What is done can be neither cancelled nor moved: nobody is sent to try."""
    other = make_client()
    people = ((kept, cast.therapist), (other, cast.other_therapist))
    for (client, therapist), status in zip(people, statuses, strict=True):
        one = booked(therapist, today() + timedelta(days=3), client=client)
        Appointment.objects.filter(pk=one.pk).update(status=status)
    answer = lead.post(merging(kept, other), {"is_sure": "on"} | taking_all(kept, other))
    page = " ".join(answer.content.decode().split())
    assert "Nothing is merged yet: the two are booked at the same time" in page
    assert f"with Theo Marsh</a> ({kept.record_number}, {statuses[0]})" in page
    assert f"with Tilda Brook</a> ({other.record_number}, {statuses[1]})" in page
    told = {"Both are done, and what is done stays.", "Cancel or move one of the two first."}
    assert {words for words in told if words in page} == {advice}
    assert ("keep both records" in page) == (statuses == ("done", "done"))


def taking_all(kept: Client, other: Client) -> dict[str, str]:
    return {each.name: "other" for each in merge_preview(kept=kept, other=other).differences}


def test_a_precaution_on_both_stands_once(cast: Cast, kept: Client) -> None:
    other = make_client()
    for client in (kept, other):
        PrecautionFound.objects.create(
            client=client,
            precaution=Precaution.UNTREATED_INFECTION,
            found_on=today(),
            found_by=cast.therapist,
        )
    merge_clients(kept=kept, other=other, taking=[], by=cast.lead)
    standing, cleared = kept.precautions.order_by("cleared_on").reverse()
    assert kept.precautions.filter(cleared_on=None).count() == 1
    assert {standing.cleared_reason, cleared.cleared_reason} == {
        "",
        "Found on both records when they were merged.",
    }


def test_of_a_doubled_precaution_the_one_found_first_stays_open(cast: Cast, kept: Client) -> None:
    """So that the lists tell since when it stands."""
    other = make_client()
    for client, days in ((kept, 3), (other, 400)):
        PrecautionFound.objects.create(
            client=client,
            precaution=Precaution.UNTREATED_INFECTION,
            found_on=today() - timedelta(days=days),
            found_by=cast.therapist,
        )
    merge_clients(kept=kept, other=other, taking=[], by=cast.lead)
    assert kept.precautions.get(cleared_on=None).found_on == today() - timedelta(days=400)
    assert kept.precautions.count() == 2


@pytest.mark.parametrize(("days_ago", "stands"), [(100, False), (2, True)])
def test_who_withdrew_on_one_record_is_not_reminded_for_the_other(
    cast: Cast, kept: Client, days_ago: int, stands: bool
) -> None:
    """Unless the client agreed again since."""
    other, channel = make_client(), ReminderChannel.PHONE
    for client, agreed, withdrawn in ((kept, 200, 10), (other, days_ago, None)):
        ReminderConsent.objects.create(
            client=client,
            channel=channel,
            agreed_on=today() - timedelta(days=agreed),
            withdrawn_on=withdrawn and today() - timedelta(days=withdrawn),
            by=cast.front_desk,
        )
    merge_clients(kept=kept, other=other, taking=[], by=cast.lead)
    assert kept.reminder_consents.filter(withdrawn_on=None).exists() == stands


def test_a_deactivated_record_that_takes_one_in_care_is_active_again(
    cast: Cast, lead: Browser, therapist: Browser, kept: Client, other: Client
) -> None:
    """Or the client would vanish from the caseload, the recalls and the letters to write."""
    deactivate_client(client=kept, reason="Moved away.", by=cast.lead)
    told = f"Record {kept.record_number} is deactivated. It becomes active again"
    assert told in lead.get(merging(kept, other)).content.decode()
    merge_clients(kept=kept, other=other, taking=[], by=cast.lead)
    kept.refresh_from_db()
    assert (kept.is_active, kept.deactivated_reason) == (True, "")
    assert "Margret" in therapist.get(reverse("caseload")).content.decode()


def test_two_deactivated_records_stay_deactivated(cast: Cast, kept: Client) -> None:
    other = make_client()
    for client in (kept, other):
        deactivate_client(client=client, reason="Moved away.", by=cast.lead)
    merge_clients(kept=kept, other=other, taking=[], by=cast.lead)
    kept.refresh_from_db()
    assert kept.deactivated_reason == "Moved away."


def test_bookings_are_compared_in_two_queries_however_many_there_are(
    cast: Cast, kept: Client, django_assert_num_queries: Any
) -> None:
    other = make_client()
    for days in range(3, 9):
        booked(cast.therapist, today() + timedelta(days=days), client=other)
    booked(cast.other_therapist, today() + timedelta(days=20), client=kept)
    with django_assert_num_queries(2):
        assert overlapping(kept, other) == []


def test_a_record_is_not_merged_into_itself_nor_into_one_that_is_gone(
    cast: Cast, kept: Client
) -> None:
    other, third = make_client(), make_client()
    with pytest.raises(errors.SameRecord):
        merge_clients(kept=kept, other=kept, taking=[], by=cast.lead)
    merge_clients(kept=kept, other=other, taking=[], by=cast.lead)
    with pytest.raises(RecordGone):
        merge_clients(kept=third, other=other, taking=[], by=cast.lead)


def test_who_had_a_merged_record_open_does_not_bring_it_back(
    cast: Cast, kept: Client, other: Client
) -> None:
    """Saving the details writes the whole row, as it was before the merge."""
    before = said_by(other, ["phone", "town"])
    merge_clients(kept=kept, other=Client.objects.get(pk=other.pk), taking=[], by=cast.lead)
    with pytest.raises(RecordGone):
        edit_client(client=other, before=before, by=cast.front_desk)
    other.refresh_from_db()
    assert other.merged_into == kept


def test_every_table_that_names_a_client_is_moved() -> None:
    """Or somebody decided that it stays: the access record, and the record of keeping."""
    named = {
        (relation.related_model._meta.label, relation.field.name)
        for relation in Client._meta.get_fields(include_hidden=True)
        if relation.auto_created and relation.related_model is not Client
    }
    moved = {(model._meta.label, field.name) for model, field in direct_references()}
    assert {label for label, _ in named - moved} == {
        "audit.Entry",
        "keeping.Erasure",
        "keeping.Merge",
    }


# Pages


def merging(kept: Client, other: Client) -> str:
    return reverse("client-merge-with", args=[kept.pk, other.pk])


def test_the_pages_compare_and_merge(lead: Browser, kept: Client, other: Client) -> None:
    chosen = lead.post(
        reverse("client-merge", args=[kept.pk]), {"record_number": other.record_number}
    )
    assert chosen.url == merging(kept, other)
    page = lead.get(chosen.url).content.decode()
    assert "episodes: 1" in page
    assert "Margret" in page
    assert "Marguerite" in page
    response = lead.post(chosen.url, {"given_name": "other", "phone": "kept", "is_sure": "on"})
    assert response.url == reverse("client", args=[kept.pk])
    kept.refresh_from_db()
    assert kept.given_name == "Marguerite"


def test_without_the_tick_nothing_is_merged_and_the_choice_stays(
    lead: Browser, kept: Client, other: Client
) -> None:
    page = lead.post(merging(kept, other), {"given_name": "other", "phone": "kept"})
    assert "Tick this when you have compared" in page.content.decode()
    assert page.context["form"]["given_name"].value() == "other"
    assert not Merge.objects.exists()


def test_a_number_that_nobody_has_stays_in_the_field(lead: Browser, kept: Client) -> None:
    page = lead.post(reverse("client-merge", args=[kept.pk]), {"record_number": "T000"})
    assert "No other record has this number" in page.content.decode()
    assert page.context["form"]["record_number"].value() == "T000"


def test_only_the_lead_merges(
    cast: Cast, signed_in: Callable[[Any], Browser], kept: Client
) -> None:
    other = make_client()
    for user in (cast.front_desk, cast.therapist):
        assert signed_in(user).post(merging(kept, other)).status_code == 403
    assert signed_in(cast.lead).put(merging(kept, other)).status_code == 405
