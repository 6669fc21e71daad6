"""Taking letters off the list, confirming, putting back: nothing goes twice, nothing is lost."""

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import timedelta
from unittest.mock import patch

import pytest
from django.db import DatabaseError, transaction
from django.utils import timezone

from clinic.audit.selectors import history_of
from clinic.letters.models import ProgressLetter
from clinic.letters.sending import errors, services
from clinic.letters.sending.models import Batch, Sending
from clinic.letters.sending.selectors import Wanted, letters_to_send
from clinic.letters.sending.services import confirm_sent, make_batch, put_back, resend
from clinic.letters.sending.ways import Decision, Output, State, Way
from tests.builders import make_referrer
from tests.cast import Cast
from tests.clinic.letters.sending.approved import batch_of, chosen, letter_on


@contextmanager
def refused_by_the_database() -> Iterator[None]:
    with pytest.raises(DatabaseError), transaction.atomic():
        yield


@pytest.fixture
def letter(cast: Cast) -> ProgressLetter:
    return letter_on("Bly", make_referrer(), cast.therapist)


def waiting(cast: Cast) -> set[str]:
    return {row.client for row in letters_to_send(cast.front_desk, Wanted()).letters}


def ids(batch: Batch) -> set:
    return set(batch.sendings.values_list("pk", flat=True))


def test_what_is_taken_leaves_the_list_and_a_repeat_takes_only_what_is_missing(
    cast: Cast, letter: ProgressLetter
) -> None:
    other = letter_on("Crewe", letter.referrer, cast.therapist)
    batch_of(letter, by=cast.front_desk)
    assert waiting(cast) == {"Crewe, Marguerite"}
    second = batch_of(letter, other, by=cast.front_desk)
    assert [row.letter_id for row in second.sendings.all()] == [other.pk]
    with pytest.raises(errors.NothingToSend):
        batch_of(letter, other, by=cast.front_desk)
    assert Sending.objects.count() == 2


def test_drafts_and_reports_to_the_payer_alone_are_not_listed(
    cast: Cast, letter: ProgressLetter
) -> None:
    letter_on("Draft", letter.referrer, cast.therapist, **UNAPPROVED)
    letter_on("Report", letter.referrer, cast.therapist, kind="report")
    letter_on("Summary", letter.referrer, cast.therapist, kind="discharge")
    letter_on("Payer", None, cast.therapist, kind="report")
    assert waiting(cast) == {"Bly, Marguerite", "Report, Marguerite", "Summary, Marguerite"}


UNAPPROVED = {
    "approved_at": None,
    "approved_by": None,
    "summary": None,
    "pdf": None,
    "pdf_sha256": "",
}


def test_letters_to_one_addressee_lie_together_by_client_and_faxes_come_last(cast: Cast) -> None:
    zoe = make_referrer(family_name="Zoll", given_name="Ada")
    amy = make_referrer(family_name="Abel", given_name="Amy")
    fax = make_referrer(family_name="Aaron", delivery="fax", fax="555 0199")
    told = [("Young", zoe), ("Dunn", amy), ("Élan", zoe), ("Fry", fax), ("Eck", zoe)]
    letters = [letter_on(name, referrer, cast.therapist) for name, referrer in told]
    batch = batch_of(*letters, by=cast.front_desk)
    rows = batch.sendings.order_by("place").select_related("letter__episode__client")
    names = [row.letter.episode.client.family_name for row in rows]
    assert names == ["Dunn", "Eck", "Élan", "Young", "Fry"]
    assert [row.way for row in rows] == ["post"] * 4 + ["fax"]
    assert rows[4].reached_at == "555 0199"


def test_printing_is_not_sending_until_somebody_confirms(
    cast: Cast, letter: ProgressLetter
) -> None:
    batch = batch_of(letter, by=cast.front_desk)
    assert batch.sendings.get().state is State.WAITING
    assert confirm_sent(batch=batch, sending_ids=ids(batch), by=cast.front_desk) == 1
    row = batch.sendings.get()
    assert (row.state, row.sent_by) == (State.SENT, cast.front_desk)
    with pytest.raises(errors.NotConfirmed):
        confirm_sent(batch=batch, sending_ids=ids(batch), by=cast.lead)
    assert batch.sendings.get().sent_by == cast.front_desk
    verbs = [entry.verb for entry in history_of(letter.episode.client)]
    assert {"letter.put_in_batch", "letter.sent"} <= set(verbs)


def test_undo_is_for_the_same_day_and_needs_a_reason(cast: Cast, letter: ProgressLetter) -> None:
    batch = batch_of(letter, by=cast.front_desk)
    confirm_sent(batch=batch, sending_ids=ids(batch), by=cast.front_desk)
    told = {"batch": batch, "sending_ids": ids(batch), "by": cast.front_desk}
    with pytest.raises(errors.ReasonMissing):
        put_back(**told, reason="")
    tomorrow = timezone.localdate() + timedelta(days=1)
    localdate = timezone.localdate
    with (
        patch.object(
            services.timezone, "localdate", lambda at=None: localdate(at) if at else tomorrow
        ),
        pytest.raises(errors.TooLate),
    ):
        put_back(**told, reason="still in the tray")
    assert put_back(**told, reason="still in the tray") == 1
    assert waiting(cast) == {"Bly, Marguerite"}
    again = batch_of(letter, by=cast.front_desk)
    assert again.sendings.get().state is State.WAITING


def test_a_client_who_declines_is_not_written_about_without_a_reason(
    cast: Cast, letter: ProgressLetter
) -> None:
    client = letter.episode.client
    client.agrees_to_letters = False
    client.save()
    with pytest.raises(errors.ReasonMissing) as raised:
        batch_of(letter, by=cast.front_desk)
    assert raised.value.field == f"reason_{letter.pk.hex}"
    assert not Batch.objects.exists()
    batch = batch_of(letter, by=cast.front_desk, reasons={letter.pk: "asked for by phone"})
    assert batch.sendings.get().note == "asked for by phone"


@pytest.mark.parametrize(
    ("decision", "line", "needs_sheet"),
    [(Decision.PRESENT, "9 New Street", True), (Decision.APPROVED, "4 Quay Road", False)],
)
def test_a_changed_address_is_decided_by_a_person(
    cast: Cast, letter: ProgressLetter, decision: Decision, line: str, needs_sheet: bool
) -> None:
    letter.referrer.street = "9 New Street"
    letter.referrer.save()
    with pytest.raises(errors.DecisionMissing):
        batch_of(letter, by=cast.front_desk)
    row = batch_of(letter, by=cast.front_desk, decisions={letter.pk: decision}).sendings.get()
    assert line in row.addressee.splitlines()
    assert row.needs_sheet is needs_sheet


@pytest.mark.parametrize(
    ("output", "lacking", "why"),
    [
        (Output.PRINT, {"street": ""}, "address"),
        (Output.PRINT, {"delivery": "fax", "fax": ""}, "fax"),
        (Output.MAIL, {"delivery": "email", "email": "o.farrow@mail.example"}, "mail"),
    ],
)
def test_nothing_is_taken_when_one_cannot_go(
    cast: Cast, letter: ProgressLetter, output: Output, lacking: dict, why: str
) -> None:
    poor = letter_on("Poor", make_referrer(family_name="Poor", **lacking), cast.therapist)
    with pytest.raises(errors.CannotGo) as raised:
        batch_of(poor, letter, by=cast.front_desk, output=output)
    assert raised.value.why == why
    assert len(waiting(cast)) == 2


def test_noted_by_hand_leaves_the_list_as_sent_or_as_never_to_be_sent(
    cast: Cast, letter: ProgressLetter
) -> None:
    with pytest.raises(errors.ReasonMissing):
        batch_of(letter, by=cast.front_desk, output=Output.NOTED)
    kept = batch_of(letter, by=cast.front_desk, output=Output.NOTED, note="Referrer retired")
    assert kept.sendings.get().state is State.KEPT
    assert not waiting(cast)
    put_back(batch=kept, sending_ids=ids(kept), reason="Successor found", by=cast.front_desk)
    told = {"output": Output.NOTED, "note": "In the post of Monday", "noted": Way.POST}
    assert batch_of(letter, by=cast.front_desk, **told).sendings.get().state is State.SENT


def test_sending_again_needs_a_reason_and_one_copy_at_a_time(
    cast: Cast, letter: ProgressLetter
) -> None:
    batch = batch_of(letter, by=cast.front_desk)
    first = batch.sendings.get()
    with pytest.raises(errors.AlreadyOnItsWay):  # the first copy waits to be confirmed
        resend(sending=first, reason="lost", by=cast.front_desk)
    confirm_sent(batch=batch, sending_ids=ids(batch), by=cast.front_desk)
    with pytest.raises(errors.ReasonMissing):
        resend(sending=first, reason="", by=cast.front_desk)
    again = resend(sending=first, reason="lost in the post", by=cast.front_desk).sendings.get()
    assert (again.letter_id, again.resend_reason) == (letter.pk, "lost in the post")


def test_a_letter_sent_again_is_printed_on_as_many_sides_as_the_last_batch(
    cast: Cast, letter: ProgressLetter
) -> None:
    """Else a printer set to two sides prints it on the back of the cover list."""
    batch = batch_of(letter, by=cast.front_desk, two_sided=True)
    confirm_sent(batch=batch, sending_ids=ids(batch), by=cast.front_desk)
    again = resend(sending=batch.sendings.get(), reason="lost", by=cast.front_desk)
    assert again.two_sided


def test_what_never_went_is_not_sent_again(cast: Cast, letter: ProgressLetter) -> None:
    told = {"output": Output.NOTED, "noted": Way.NONE, "note": "Wrong limb in the text"}
    kept = batch_of(letter, by=cast.front_desk, **told).sendings.get()
    with pytest.raises(errors.AlreadyOnItsWay):
        resend(sending=kept, reason="asked for", by=cast.front_desk)
    assert Batch.objects.count() == 1


def test_the_database_itself_keeps_sendings_and_refuses_a_second_one(
    cast: Cast, letter: ProgressLetter
) -> None:
    batch = batch_of(letter, by=cast.front_desk)
    confirm_sent(batch=batch, sending_ids=ids(batch), by=cast.front_desk)
    row = batch.sendings.get()
    for change in (
        {"addressee": "Somebody else"},
        {"way": "fax"},
        {"sent_at": None, "sent_by": None},
        {"sent_at": timezone.now() + timedelta(days=1)},
    ):
        with refused_by_the_database():
            Sending.objects.filter(pk=row.pk).update(**change)
    with refused_by_the_database():
        Sending.objects.all().delete()
    with refused_by_the_database():
        Batch.objects.update(note="changed")
    row.pk, row.place = None, 2
    with refused_by_the_database():
        row.save(force_insert=True)
    assert Sending.objects.count() == 1


def test_two_people_who_take_the_same_letter_do_not_both_get_it(
    cast: Cast, letter: ProgressLetter
) -> None:
    """The second one read the list before the first one's batch was kept."""
    seen = services.chosen_letters([letter.pk])
    batch_of(letter, by=cast.front_desk)
    with (
        patch.object(services, "chosen_letters", lambda ids: seen),
        pytest.raises(errors.AlreadyOnItsWay),
    ):
        make_batch(chosen=chosen(letter), by=cast.lead)
    assert Batch.objects.count() == 1
