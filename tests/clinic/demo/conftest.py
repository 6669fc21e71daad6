"""The invented clinic, loaded once for a file of tests and taken back afterwards."""

from collections.abc import Iterator
from datetime import date
from typing import Any

import pytest
from django.db import connection, transaction
from django.test import override_settings

from clinic.demo.accounts import Account
from clinic.demo.loading import load

TODAY = date(2026, 3, 4)
FAST_HASH = {"PASSWORD_HASHERS": ["django.contrib.auth.hashers.MD5PasswordHasher"]}


@pytest.fixture(scope="module")
def loaded(django_db_setup: None, django_db_blocker: Any) -> Iterator[list[Account]]:
    with django_db_blocker.unblock(), override_settings(**FAST_HASH), transaction.atomic():
        accounts = load(TODAY, say=lambda words: None)
        # What waits for the end of a transaction is done once, not after every test.
        connection.check_constraints()
        yield accounts
        transaction.set_rollback(True)
