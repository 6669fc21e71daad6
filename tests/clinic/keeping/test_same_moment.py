"""A merge or an erasure and other work on the same record, by two sessions in the same moment."""

from collections.abc import Callable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor, wait
from datetime import date
from typing import Any

import pytest
from django.db import IntegrityError, OperationalError, connection, transaction
from django.db.models import Model
from django.test import Client as Browser
from django.urls import reverse

from clinic.clients.emergency import EmergencyAccess
from clinic.clients.models import (
    AffectedRegion,
    Client,
    Episode,
    Irradiation,
    PhaseChange,
)
from clinic.clients.services import add_treatment, change_phase, open_episode
from clinic.common.vocabulary import Cause, Involvement, Phase, Region, RegionSide
from clinic.keeping import errors
from clinic.keeping.models import Erasure, ErasureGround, Merge
from clinic.keeping.services import erasing
from clinic.keeping.services.erasing import ask_erasure, confirm_erasure
from clinic.keeping.services.merging import merge_clients
from clinic.scheduling.models import Appointment, WaitListEntry
from clinic.scheduling.services import booking, waiting
from clinic.scheduling.services.recalls import set_recall_schedule
from clinic.scheduling.words import Urgency
from programmes.models import PrecautionReview
from programmes.services.care import Asked, review_precautions
from tests.builders import make_client, make_episode, today
from tests.cast import Cast, make_cast
from tests.clinic.scheduling.desk import a_monday, booked, make_kind, slot_at

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def cast() -> Cast:
    return make_cast()


@pytest.fixture
def kept() -> Client:
    return make_client(record_number="T777")


@pytest.fixture
def other() -> Client:
    return make_client(given_name="Margret")


@pytest.fixture
def colleague() -> Iterator[Callable[[Callable[[], Any]], Future[Any]]]:
    """Somebody with a connection of their own, who works until done or until they wait for us."""

    def on_a_connection_of_their_own(work: Callable[[], Any]) -> Any:
        try:
            return work()
        finally:
            connection.close()

    with ThreadPoolExecutor(1) as thread:

        def works(work: Callable[[], Any]) -> Future[Any]:
            doing = thread.submit(on_a_connection_of_their_own, work)
            while not wait([doing], timeout=0.02).done and not somebody_waits_for_us():
                pass
            return doing

        yield works


def somebody_waits_for_us() -> bool:
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT EXISTS (SELECT FROM pg_locks"
            " WHERE NOT granted AND pg_backend_pid() = ANY (pg_blocking_pids(pid)))"
        )
        return bool(cursor.fetchone()[0])


Colleague = Callable[[Callable[[], Any]], Future[Any]]


def book_them(client: Client, cast: Cast) -> None:
    booked(cast.therapist, a_monday(), client=client)


def begin_episode(client: Client, cast: Cast) -> None:
    episode = Episode(
        client=client,
        therapist=cast.therapist,
        opened_on=today(),
        cause=Cause.CANCER_TREATMENT,
        diagnosis="I97.2",
    )
    arm = AffectedRegion(region=Region.ARM, side=RegionSide.RIGHT, involvement=Involvement.SWOLLEN)
    open_episode(
        episode=episode, regions=[arm], phase=Phase.INTENSIVE, reason="New", by=cast.therapist
    )


def note_radiation(client: Client, cast: Cast) -> None:
    treatment = Irradiation(client=client, field="breast", side=RegionSide.RIGHT)
    add_treatment(treatment=treatment, by=cast.therapist)


WORK: dict[type[Model], Callable[[Client, Cast], None]] = {
    Appointment: book_them,
    Episode: begin_episode,
    Irradiation: note_radiation,
}
of_each_kind = pytest.mark.parametrize("kind", WORK)


def hang_on(client: Client, kind: type[Model]) -> int:
    return kind._default_manager.filter(client=client).count()


def merge(kept: Client, other: Client, cast: Cast) -> Merge:
    return merge_clients(kept=kept, other=other, taking=[], by=cast.lead)


def asked(client: Client, cast: Cast) -> Erasure:
    ground = ErasureGround.LAW
    return ask_erasure(client=client, ground=ground, reason="Order 12", by=cast.lead)


@of_each_kind
def test_work_that_is_being_kept_moves_with_the_merge(
    cast: Cast, kept: Client, other: Client, colleague: Colleague, kind: type[Model]
) -> None:
    with transaction.atomic():
        WORK[kind](other, cast)
        merging = colleague(lambda: merge(kept, other, cast))
        assert not merging.done()
    merging.result()
    assert (hang_on(kept, kind), hang_on(other, kind)) == (1, 0)


@of_each_kind
def test_work_on_a_record_that_is_being_merged_is_refused(
    cast: Cast, kept: Client, other: Client, colleague: Colleague, kind: type[Model]
) -> None:
    with transaction.atomic():
        merge(kept, other, cast)
        working = colleague(lambda: WORK[kind](other, cast))
        assert not working.done()
    with pytest.raises(IntegrityError, match="merged or erased"):
        working.result()
    assert (hang_on(kept, kind), hang_on(other, kind)) == (0, 0)


def test_work_on_the_record_that_is_kept_goes_on_after_the_merge(
    cast: Cast, kept: Client, other: Client, colleague: Colleague
) -> None:
    with transaction.atomic():
        merge(kept, other, cast)
        working = colleague(lambda: book_them(kept, cast))
    working.result()
    assert hang_on(kept, Appointment) == 1


def test_who_loses_reads_why_and_still_has_what_was_typed(
    cast: Cast, kept: Client, other: Client, colleague: Colleague
) -> None:
    desk = Browser(raise_request_exception=False)
    desk.force_login(cast.front_desk)
    address = reverse("client-emergency", args=[other.pk])
    with transaction.atomic():
        merge(kept, other, cast)
        working = colleague(lambda: desk.post(address, {"reason": "Collapsed at the desk"}))
    answer = working.result()
    page = answer.content.decode()
    assert answer.status_code == 409
    assert "Somebody merged or erased the record" in page
    assert "Collapsed at the desk" in page
    assert not EmergencyAccess.objects.exists()


def test_a_row_read_before_the_merge_is_not_put_back(
    cast: Cast, kept: Client, other: Client
) -> None:
    episode = make_episode(other, cast.therapist)
    merge(kept, other, cast)
    episode.referral_reason = "Typed before"
    with pytest.raises(IntegrityError, match="merged or erased"):
        episode.save()


def test_who_holds_an_episode_and_a_merge_do_not_wait_for_each_other(
    cast: Cast, kept: Client, other: Client, colleague: Colleague
) -> None:
    episode = make_episode(other, cast.therapist)
    with transaction.atomic():
        discharge(episode, cast)
        merging = colleague(lambda: merge(kept, other, cast))
        assert not merging.done()
    merging.result()
    assert PhaseChange.objects.filter(episode__client=kept, phase=Phase.DISCHARGED).exists()


def discharge(episode: Episode, cast: Cast) -> None:
    change_phase(
        episode=episode,
        phase=Phase.DISCHARGED,
        since_on=today(),
        reason="Goals met",
        by=cast.therapist,
    )


def test_a_booking_moved_in_the_moment_stops_the_merge_with_a_sentence(
    cast: Cast, kept: Client, other: Client, colleague: Colleague
) -> None:
    day = a_monday()
    booked(cast.therapist, day, "09:00", client=kept)
    theirs = booked(cast.other_therapist, day, "11:00", client=other)
    with transaction.atomic():
        move_to(theirs, day, cast)
        merging = colleague(lambda: merge(kept, other, cast))
        assert not merging.done()
    with pytest.raises(errors.BookingsOverlap) as refused:
        merging.result()
    assert len(refused.value.overlaps) == 1
    assert not Merge.objects.exists()


def move_to(appointment: Appointment, day: date, cast: Cast) -> None:
    slot = slot_at(cast.other_therapist, day, "09:30")
    booking.move(
        appointment=appointment,
        slot=slot,
        version=appointment.version,
        by=cast.front_desk,
        is_deliberate=True,
    )


def test_a_booking_from_the_wait_list_and_a_merge_do_not_wait_for_each_other(
    cast: Cast, kept: Client, other: Client, colleague: Colleague, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The entry is held when the merge begins, and the booking is still to be made."""
    entry, merging = waiting_entry(other, cast), []

    def booked_during_a_merge(**named: Any) -> Appointment:
        merging.append(colleague(lambda: merge(kept, other, cast)))
        return booking.book(**named)

    monkeypatch.setattr(waiting, "book", booked_during_a_merge)
    offered = waiting.Offered(entry, slot_at(cast.therapist, a_monday(), "09:00"))
    waiting.book_from_wait_list(offered=offered, by=cast.front_desk, is_deliberate=True)
    merging[0].result()
    assert hang_on(kept, Appointment) == hang_on(kept, WaitListEntry) == 1


def waiting_entry(client: Client, cast: Cast) -> WaitListEntry:
    said = dict.fromkeys(waiting.FIELDS) | {
        "kind": make_kind(),
        "minutes": 60,
        "weekdays": [],
        "urgency": Urgency.USUAL,
        "note": "",
    }
    return waiting.join_wait_list(client=client, said=said, by=cast.front_desk)


def test_what_stops_a_merge_in_the_database_is_told_as_what_it_was(
    cast: Cast, kept: Client, other: Client, colleague: Colleague
) -> None:
    """It would else be a fault of ours; as it is, the page says to try again."""
    review_precautions(client=other, asked=Asked(today()), by=cast.therapist)
    with transaction.atomic():
        list(PrecautionReview.objects.select_for_update())
        merging = colleague(lambda: impatiently(lambda: merge(kept, other, cast)))
        with pytest.raises(OperationalError, match="lock timeout"):
            merging.result()


def impatiently(work: Callable[[], Any]) -> Any:
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("SET LOCAL lock_timeout = '100ms'")
        return work()


# Erasing


def test_an_erasure_waits_for_a_booking_that_is_being_kept_and_says_so(
    cast: Cast, other: Client, colleague: Colleague
) -> None:
    erasure = asked(other, cast)
    with transaction.atomic():
        book_them(other, cast)
        confirming = colleague(lambda: confirm_erasure(erasure=erasure, by=cast.therapist))
        assert not confirming.done()
    with pytest.raises(errors.StillBooked):
        confirming.result()


def test_a_row_kept_beneath_an_episode_while_it_is_erased_goes_as_well(
    cast: Cast, other: Client, colleague: Colleague, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Put there after all was looked for, and before anything was deleted."""
    episode, erasure = make_episode(other, cast.therapist), asked(other, cast)
    looked_for = erasing.hanging_on

    def and_meanwhile(*arguments: Any, **named: Any) -> Any:
        found = looked_for(*arguments, **named)
        monkeypatch.setattr(erasing, "hanging_on", looked_for)
        kept = colleague(
            lambda: set_recall_schedule(episode=episode, every_months=6, by=cast.therapist)
        )
        kept.result()
        return found

    monkeypatch.setattr(erasing, "hanging_on", and_meanwhile)
    confirmed = confirm_erasure(erasure=erasure, by=cast.therapist)
    assert confirmed.removed["recall schedules"] == 1
    assert not Episode.objects.exists()


@pytest.mark.parametrize(
    ("page", "typed"),
    [
        ("episode-phase", {"phase": "discharged", "reason": "Goals met"}),
        ("recall-schedule", {"every_months": "6", "reason": "Goals met"}),
    ],
)
def test_what_is_sent_of_an_episode_that_is_being_erased_is_answered_with_a_sentence(
    cast: Cast, other: Client, colleague: Colleague, page: str, typed: dict[str, str]
) -> None:
    """The episode itself is held by one page and only referred to by the other."""
    episode, erasure = make_episode(other, cast.therapist), asked(other, cast)
    therapist = Browser(raise_request_exception=False)
    therapist.force_login(cast.therapist)
    address = reverse(page, args=[episode.pk])
    typed |= {"since_on": today().isoformat()}
    with transaction.atomic():
        confirm_erasure(erasure=erasure, by=cast.therapist)
        sending = colleague(lambda: therapist.post(address, typed))
        assert not sending.done()
    answer = sending.result()
    assert answer.status_code == 409
    assert "Goals met" in answer.content.decode()


def test_who_holds_an_episode_and_an_erasure_do_not_wait_for_each_other(
    cast: Cast, other: Client, colleague: Colleague
) -> None:
    episode, erasure = make_episode(other, cast.therapist), asked(other, cast)
    with transaction.atomic():
        discharge(episode, cast)
        confirming = colleague(lambda: confirm_erasure(erasure=erasure, by=cast.therapist))
        assert not confirming.done()
    assert confirming.result().removed["phase changes"] == 2


def test_what_stops_an_erasure_in_the_database_is_told_as_what_it_was(
    cast: Cast, other: Client, colleague: Colleague
) -> None:
    make_episode(other, cast.therapist)
    erasure = asked(other, cast)
    with transaction.atomic():
        list(PhaseChange.objects.select_for_update())
        confirming = colleague(
            lambda: impatiently(lambda: confirm_erasure(erasure=erasure, by=cast.therapist))
        )
        with pytest.raises(OperationalError, match="lock timeout"):
            confirming.result()


# Off the lists and back


@pytest.mark.parametrize("page", ["client-deactivate", "client-reactivate"])
def test_a_record_that_is_being_merged_is_neither_taken_off_the_lists_nor_put_back(
    cast: Cast, kept: Client, other: Client, colleague: Colleague, page: str
) -> None:
    """What is left of it would carry their reason, or could not be put back at all."""
    lead, address = Browser(), reverse(page, args=[other.pk])
    lead.force_login(cast.lead)
    with transaction.atomic():
        merge(kept, other, cast)
        sending = colleague(lambda: lead.post(address, {"reason": "Away"}, follow=True))
        assert not sending.done()
    assert "The record was merged or erased meanwhile" in sending.result().content.decode()
    other.refresh_from_db()
    assert other.deactivated_reason == "Merged into record T777."
