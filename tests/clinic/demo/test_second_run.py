"""The demo is loaded once; what was loaded before is left alone."""

from datetime import timedelta

import pytest

from clinic.demo.loading import Holding, holding, load
from tests.builders import make_client
from tests.clinic.demo.conftest import TODAY
from tests.clinic.demo.rows import digest, silent, tables


@pytest.mark.django_db
def test_a_second_run_changes_nothing(loaded: None) -> None:
    before = tables()
    assert len(before["clients.Client"]) == 44  # one of them registered twice
    assert holding() is Holding.DEMO
    accounts = load(TODAY + timedelta(days=40), say=silent)
    assert digest(tables()) == digest(before)
    assert [account.password for account in accounts] == [None] * 5


@pytest.mark.django_db
def test_a_second_run_leaves_what_a_visitor_added(loaded: None) -> None:
    make_client(given_name="Walter", family_name="Visitor")
    before = digest(tables())
    load(TODAY, say=silent)
    assert digest(tables()) == before
