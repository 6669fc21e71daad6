"""Databases of earlier releases come up to the present schema with every row."""

from collections.abc import Iterator
from io import StringIO
from typing import Any

import pytest
from django.apps import apps
from django.core.management import call_command

from clinic.accounts.models import User
from clinic.keeping.databases import working_in
from tests.clinic.keeping.releases import RELEASES, UpgradedFrom, counts


@pytest.fixture(scope="module", params=RELEASES)
def upgraded(
    request: pytest.FixtureRequest, upgraded_from: UpgradedFrom, django_db_blocker: Any
) -> Iterator[dict[str, int]]:
    """A database of that release brought up to today; gives its rows before."""
    with django_db_blocker.unblock():
        found = upgraded_from(request.param)
        with working_in(found.name):
            yield found.before


def test_the_dump_holds_a_clinics_records(upgraded: dict[str, int]) -> None:
    assert upgraded["clients_client"] == 43
    assert upgraded["visits_visitnote"]
    assert upgraded["letters_progressletter"]


def test_no_table_loses_a_row(upgraded: dict[str, int]) -> None:
    after = counts()
    assert not {name for name, rows in upgraded.items() if after.get(name, 0) < rows}


def test_every_row_of_every_model_can_be_read(upgraded: dict[str, int]) -> None:
    for model in apps.get_models():
        rows = [str(row) for row in model._default_manager.all()]
        assert len(rows) == model._default_manager.count(), model


def test_a_password_still_to_be_replaced_has_an_end(upgraded: dict[str, int]) -> None:
    waiting = User.objects.filter(must_choose_password=True, last_login=None)
    assert waiting.exists()
    assert not waiting.filter(one_time_until=None).exists()


def test_no_migration_is_missing_and_nothing_signed_has_changed(upgraded: dict[str, int]) -> None:
    call_command("makemigrations", "--check", "--dry-run", verbosity=0)
    call_command("migrate", "--check", verbosity=0)
    told = StringIO()
    call_command("verify_notes", stdout=told)
    assert "note: 29" in told.getvalue()
    assert told.getvalue().endswith("All as signed.\n")
