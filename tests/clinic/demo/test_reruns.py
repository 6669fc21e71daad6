"""The demo is always alike, and never loaded beside somebody else's records."""

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date, timedelta
from typing import Any

import pytest
from django.db import transaction

from clinic.accounts.models import User
from clinic.clients.models import Referrer
from clinic.common.vocabulary import Role
from clinic.demo import letters, programmes
from clinic.demo.clock import working_day
from clinic.demo.loading import Holding, holding, load
from clinic.letters.models import ProgressLetter
from tests.builders import make_client, make_referrer
from tests.cast import make_staff
from tests.clinic.demo.conftest import TODAY
from tests.clinic.demo.rows import silent, tables

A_SUNDAY = date(2026, 3, 8)


@contextmanager
def taken_back() -> Iterator[None]:
    with transaction.atomic():
        yield
        transaction.set_rollback(True)


@pytest.fixture
def no_printer(monkeypatch: pytest.MonkeyPatch) -> None:
    for module in (letters, programmes):
        monkeypatch.setattr(module, "can_print", lambda: False)


@pytest.mark.django_db
def test_the_same_day_gives_the_same_rows(no_printer: None) -> None:
    """Without a printer: all is loaded but the approved letters and the programmes handed out."""
    seen = []
    for _ in range(2):
        with taken_back():
            load(A_SUNDAY, say=silent)
            seen.append(tables(without_keys=True))
            approved = [letter.approved_at for letter in ProgressLetter.objects.all()]
    assert seen[0] == seen[1]
    assert len(seen[0]["clients.Client"]) == 44  # one of them registered twice
    assert seen[0]["visits.VisitNote"]
    assert len(seen[0]["measurements.GirthReading"]) > 3000
    assert approved == [None]


@pytest.mark.django_db
def test_an_empty_database_holds_nothing() -> None:
    assert holding() is Holding.NOTHING


@pytest.mark.django_db
@pytest.mark.parametrize(
    "made",
    [
        make_client,
        make_referrer,
        lambda: make_staff("somebody", "Some Body", Role.CLINIC_LEAD),
    ],
    ids=["a client", "a referrer", "an account"],
)
def test_any_record_that_is_not_the_demos_is_seen(made: Any) -> None:
    made()
    assert holding() is Holding.OTHER


@pytest.mark.django_db
def test_an_account_named_like_the_demos_is_somebody_elses() -> None:
    make_staff("frida", "Frida of another clinic", Role.FRONT_DESK)
    assert holding() is Holding.OTHER
    assert not Referrer.objects.exists()
    assert User.objects.get().display_name == "Frida of another clinic"


def test_days_move_back_from_weekends_and_never_change_order() -> None:
    for shift in range(7):
        today = TODAY + timedelta(days=shift)
        days = [working_day(today, offset) for offset in range(-400, 1)]
        assert days == sorted(days)
        assert {day.weekday() for day in days} == {0, 1, 2, 3, 4}
        assert all(
            timedelta(0) <= today + timedelta(days=offset) - day <= timedelta(days=2)
            for offset, day in zip(range(-400, 1), days, strict=True)
        )
