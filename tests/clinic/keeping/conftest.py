"""The invented clinic of the first release, for tests that need everything a record can hold."""

from collections.abc import Iterator
from typing import Any

import pytest
from django.db import transaction

from clinic.clients.models import Client
from clinic.keeping.belongings import belongings
from clinic.keeping.databases import working_in
from tests.clinic.keeping.releases import RELEASES, UpgradedFrom, upgrades


@pytest.fixture(scope="session")
def upgraded_from(django_db_setup: None, django_db_blocker: Any) -> Iterator[UpgradedFrom]:
    """Names the database of an earlier release in today's schema; upgrading it takes long."""
    with django_db_blocker.unblock(), upgrades() as upgraded_from:
        yield upgraded_from


@pytest.fixture(scope="module")
def _first_release(upgraded_from: UpgradedFrom, django_db_blocker: Any) -> Iterator[None]:
    with django_db_blocker.unblock(), working_in(upgraded_from(RELEASES[0]).name):
        yield


@pytest.fixture
def fullest(_first_release: None) -> Iterator[Client]:
    """The client on whom most kinds of rows hang; everything is taken back afterwards."""
    with transaction.atomic():
        clients = Client.objects.order_by("record_number")
        yield max(clients, key=lambda client: len(belongings([client.pk])))
        transaction.set_rollback(True)
