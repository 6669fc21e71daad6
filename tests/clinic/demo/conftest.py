"""The invented clinic as it was loaded on one day; what a test does to it is taken back."""

from collections.abc import Iterator
from datetime import date

import pytest

from clinic.keeping.databases import working_in
from tests.demos import DemoOf

TODAY = date(2026, 3, 4)


@pytest.fixture(scope="module")
def loaded(demo_of: DemoOf) -> Iterator[None]:
    with working_in(demo_of(TODAY)):
        yield
