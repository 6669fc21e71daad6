"""No therapist, room or client has two appointments at once, whoever writes them."""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta
from threading import Barrier
from typing import Any

import pytest
from django.db import IntegrityError, connection, transaction
from django.test import Client as Browser

from clinic.accounts.models import User
from clinic.clients.models import Client
from clinic.scheduling.models import Appointment, StatusChange
from clinic.scheduling.services import booking as services
from clinic.scheduling.states import FREED, HOLDING, CancelReason, Status
from tests.builders import make_client
from tests.cast import make_cast
from tests.clinic.scheduling.desk import (
    a_monday,
    at,
    booked,
    make_hours,
    make_kind,
    make_room,
    row,
)

BOOKERS = 32
NOTE = "brings daughter, number"


@pytest.fixture
def force(cast: Any) -> Callable[..., Appointment]:
    """Save a row past every service."""

    def saved(therapist: User, client: Client, clock: str, **differences: Any) -> Appointment:
        made = row(therapist, client, a_monday(), clock, **differences)
        with transaction.atomic():
            made.save()
        return made

    return saved


# The database itself


@pytest.mark.parametrize("clock", ["09:00", "08:30", "09:59", "09:15"])
def test_a_therapist_is_never_double_booked(
    cast: Any, force: Callable[..., Appointment], clock: str
) -> None:
    force(cast.therapist, make_client(), "09:00")
    with pytest.raises(IntegrityError, match="therapist_once_at_a_time"):
        force(cast.therapist, make_client(), clock)


def test_a_room_is_never_double_booked(cast: Any, force: Callable[..., Appointment]) -> None:
    room = make_room()
    force(cast.therapist, make_client(), "09:00", room=room)
    with pytest.raises(IntegrityError, match="room_once_at_a_time"):
        force(cast.other_therapist, make_client(), "09:30", room=room)


def test_a_client_is_never_double_booked(cast: Any, force: Callable[..., Appointment]) -> None:
    client = make_client()
    force(cast.therapist, client, "09:00")
    with pytest.raises(IntegrityError, match="client_once_at_a_time"):
        force(cast.other_therapist, client, "09:30")


def test_one_may_follow_the_other_at_once(cast: Any, force: Callable[..., Appointment]) -> None:
    client = make_client()
    for clock in ("09:00", "10:00", "08:00"):
        force(cast.therapist, client, clock, room=None)
    assert Appointment.objects.count() == 3


@pytest.mark.parametrize("status", sorted(HOLDING))
def test_raw_sql_cannot_overlap_either(
    cast: Any, force: Callable[..., Appointment], status: Status
) -> None:
    force(cast.therapist, make_client(), "09:00", status=status)
    other = force(cast.therapist, make_client(), "10:00")
    move = "UPDATE scheduling_appointment SET period = tstzrange(%s, %s) WHERE id = %s"
    starts_at = at(a_monday(), "09:30")
    with (
        pytest.raises(IntegrityError, match="therapist_once_at_a_time"),
        transaction.atomic(),
        connection.cursor() as cursor,
    ):
        cursor.execute(move, [starts_at, starts_at + timedelta(hours=1), other.pk])


@pytest.mark.parametrize("status", sorted(FREED))
def test_cancelled_and_missed_rows_give_their_time_back(
    cast: Any, force: Callable[..., Appointment], status: Status
) -> None:
    force(cast.therapist, make_client(), "09:00", status=status, cancel_reason=CancelReason.OTHER)
    assert force(cast.therapist, make_client(), "09:00")


def test_a_cancelled_row_cannot_be_revived_by_sql_into_taken_time(
    cast: Any, force: Callable[..., Appointment]
) -> None:
    freed = force(cast.therapist, make_client(), "09:00", status=Status.NO_SHOW)
    force(cast.therapist, make_client(), "09:00")
    with pytest.raises(IntegrityError, match="therapist_once_at_a_time"), transaction.atomic():
        Appointment.objects.filter(pk=freed.pk).update(status=Status.BOOKED)


@pytest.mark.parametrize("span", ["[%s,)", "(,%s]", "empty"])
def test_a_span_is_whole(cast: Any, force: Callable[..., Appointment], span: str) -> None:
    made = force(cast.therapist, make_client(), "09:00")
    starts_at = at(a_monday(), "09:00").isoformat()
    text = span % starts_at if "%s" in span else span
    with (
        pytest.raises(IntegrityError, match="appointment_is_whole"),
        transaction.atomic(),
        connection.cursor() as cursor,
    ):
        cursor.execute(
            "UPDATE scheduling_appointment SET period = %s::tstzrange WHERE id = %s",
            [text, made.pk],
        )


def test_cancelling_without_a_reason_is_refused(
    cast: Any, force: Callable[..., Appointment]
) -> None:
    with pytest.raises(IntegrityError, match="cancelling_has_reason"):
        force(cast.therapist, make_client(), "09:00", status=Status.CANCELLED_LATE)


# Many at once


def race(posts: list[tuple[Browser, dict[str, Any]]]) -> list[Any]:
    """Send every form at the same moment, each from a thread with a connection of its own."""
    gate = Barrier(len(posts))

    def send(post: tuple[Browser, dict[str, Any]]) -> Any:
        browser, answers = post
        try:
            gate.wait(timeout=30)
            return browser.post("/appointments/new/", answers)
        finally:
            connection.close()

    with ThreadPoolExecutor(len(posts)) as pool:
        return list(pool.map(send, posts))


def answers_of(number: int, client: Client, therapist: User, **differences: Any) -> dict[str, Any]:
    return {
        "client": str(client.pk),
        "kind": str(make_kind().pk),
        "therapist": str(therapist.pk),
        "room": "",
        "on": f"{a_monday():%d %b %Y}",
        "at": "9:00",
        "minutes": "60",
        "desk_note": f"{NOTE} {number}",
    } | differences


def ready(number: int, user: User) -> Browser:
    browser = Browser()
    browser.force_login(user)
    return browser


def check_one_won(answers: list[Any], phrase: str) -> None:
    """One is sent on; each of the others reads why, and finds what was typed."""
    won = [one for one in answers if one.status_code == 302]
    lost = [(number, one) for number, one in enumerate(answers) if one.status_code == 200]
    assert (len(won), len(lost)) == (1, BOOKERS - 1)
    for number, answer in lost:
        page = answer.content.decode()
        assert phrase in page
        assert f"{NOTE} {number}" in page
        assert "Nearest free times" in page
    assert Appointment.objects.count() == 1
    assert StatusChange.objects.count() == 1


@pytest.mark.django_db(transaction=True)
def test_of_32_who_book_one_therapist_at_once_one_wins() -> None:
    cast = make_cast()
    make_hours(cast.therapist)
    posts = [
        (ready(number, cast.front_desk), answers_of(number, make_client(), cast.therapist))
        for number in range(BOOKERS)
    ]
    check_one_won(race(posts), "the therapist has another appointment")


@pytest.mark.django_db(transaction=True)
def test_of_32_who_book_one_room_at_once_one_wins() -> None:
    cast = make_cast()
    room = make_room()
    people = [_another(cast.therapist, number) for number in range(BOOKERS)]
    for person in people:
        make_hours(person)
    posts = [
        (
            ready(number, cast.front_desk),
            answers_of(number, make_client(), people[number], room=str(room.pk)),
        )
        for number in range(BOOKERS)
    ]
    check_one_won(race(posts), "the room is taken")


@pytest.mark.django_db(transaction=True)
def test_of_32_who_book_one_client_at_once_one_wins() -> None:
    cast = make_cast()
    client = make_client()
    people = [_another(cast.therapist, number) for number in range(BOOKERS)]
    for person in people:
        make_hours(person)
    posts = [
        (ready(number, cast.front_desk), answers_of(number, client, people[number]))
        for number in range(BOOKERS)
    ]
    check_one_won(race(posts), "the client has another appointment")


@pytest.mark.django_db(transaction=True)
def test_movers_who_swap_therapists_and_rooms_at_once_never_lock_each_other_out() -> None:
    """Each takes the same locks, asked for in another order: nobody waits for ever."""
    cast = make_cast()
    rooms = [make_room(), make_room()]
    rows = [
        booked(cast.therapist, a_monday(), "09:00", room=rooms[0]),
        booked(cast.other_therapist, a_monday(), "09:00", room=rooms[1]),
    ]
    gate = Barrier(2)

    def swap(number: int) -> str:
        other = rows[1 - number]
        wanted = services.Slot(other.therapist, other.room, other.period.lower, 60)
        try:
            gate.wait(timeout=30)
            services.move(
                appointment=rows[number],
                slot=wanted,
                version=1,
                by=cast.front_desk,
                is_deliberate=True,
            )
        except services.errors.SlotTaken:
            return "taken"
        finally:
            connection.close()
        return "moved"

    with ThreadPoolExecutor(2) as pool:
        assert list(pool.map(swap, range(2))) == ["taken", "taken"]


def _another(person: User, number: int) -> User:
    return User.objects.create(
        sign_in_name=f"p{number}", display_name=f"Person {number}", role=person.role
    )
