"""The invented clinic of the first release, for tests that need everything a record can hold."""

from collections.abc import Iterator
from typing import Any

import pytest
from django.db import transaction

from clinic.clients.models import Client
from clinic.keeping.belongings import belongings
from clinic.keeping.databases import working_in
from tests.clinic.keeping.releases import clinic_of_today


@pytest.fixture(scope="module")
def _invented_clinic(django_db_setup: None, django_db_blocker: Any) -> Iterator[None]:
    with django_db_blocker.unblock(), clinic_of_today() as name, working_in(name):
        yield


@pytest.fixture
def fullest(_invented_clinic: None) -> Iterator[Client]:
    """The client on whom most kinds of rows hang; everything is taken back afterwards."""
    with transaction.atomic():
        clients = Client.objects.order_by("record_number")
        yield max(clients, key=lambda client: len(belongings([client.pk])))
        transaction.set_rollback(True)
