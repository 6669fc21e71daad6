"""Whatever is sent to any form, the app answers with a sentence and never with a fault of its own.

The forms are read off the pages, so a new form is tested the day it is written. Values are made by
hypothesis. Each request is undone; what the database would check only at the end is checked before.
"""

from collections.abc import Iterator
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection, transaction
from django.test import Client as Browser
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from clinic.keeping.databases import working_in
from tests.builders import today
from tests.cast import Cast, make_cast
from tests.demos import DemoOf
from tests.endurance.forms import Form, forms_of
from tests.furnished import addresses, furnish

# Digits that are not ASCII, a NUL, half an emoji's worth of marks, text that spreadsheets run,
# numbers beyond every column, days that are none.
AWKWARD = [
    "", " ", "\x00", "٣٤", "-1", "0", "1e400", "NaN", "Infinity", "9" * 40, "0.0000001", "1,5",
    "30 Feb 2026", "2026-02-30", "9999-12-31", "0001-01-01", "25:61", "24:00", "02:30",
    "=1+1", "<script>alert(1)</script>", "'; DROP TABLE clients_client; --", "%s%n", "{{ x }}",
    "\u202e\u0301é", "\ud7ff\ue000", "😀" * 50, "x" * 5000, "None", "null", "true", "[]", "{}",
    "00000000-0000-4000-8000-000000000000", "../../etc/passwd", "\r\n\r\n", "\t", "½", "²",
]  # fmt: skip
TEXTS = st.text(st.characters(exclude_categories=["Cs"]), max_size=60)
NUMBERS = st.one_of(st.integers(-(10**12), 10**12), st.floats(width=32), st.decimals())
BAD = st.one_of(st.sampled_from(AWKWARD), TEXTS, NUMBERS.map(str), st.dates().map(str))
FILES = st.one_of(st.binary(max_size=200), TEXTS.map(str.encode))


@pytest.fixture(scope="module")
def clinic(demo_of: DemoOf, django_db_blocker: Any) -> Iterator[tuple[Cast, list[Form]]]:
    """The demo's clinic with one of everything, taken back at the end; and all its forms."""
    with django_db_blocker.unblock(), working_in(demo_of(today())), transaction.atomic():
        cast = make_cast()
        pages = addresses(furnish(cast))
        yield cast, forms_of(_browser(cast), pages)
        transaction.set_rollback(True)


def _browser(cast: Cast) -> Browser:
    browser = Browser(raise_request_exception=False)
    browser.force_login(cast.lead)
    return browser


@st.composite
def bad_requests(draw: st.DrawFn, forms: list[Form]) -> tuple[Form, dict[str, Any]]:
    """One form with some of its fields as they were, some missing, some doubled, some bad."""
    form = draw(st.sampled_from(forms))
    sent: dict[str, Any] = {}
    for name in form.names:
        shown = [value for each, value in form.fields if each == name]
        how = draw(st.sampled_from(["bad", "bad", "as shown", "missing", "many"]))
        if how == "bad":
            sent[name] = draw(BAD)
        elif how == "as shown":
            sent[name] = shown
        elif how == "many":
            sent[name] = draw(st.lists(BAD, max_size=4))
    for name in form.files:
        sent[name] = SimpleUploadedFile(draw(st.sampled_from(["a.csv", "b.ics", "c"])), draw(FILES))
    return form, sent


def check(clinic: tuple[Cast, list[Form]], *, examples: int, is_repeatable: bool) -> None:
    cast, forms = clinic
    browser = _browser(cast)
    cookies = dict(browser.cookies)

    @settings(
        max_examples=examples,
        deadline=None,
        derandomize=is_repeatable,
        database=None,
        phases=[Phase.generate],  # one bad request is short enough to read as it is
        suppress_health_check=list(HealthCheck),
    )
    @given(bad_requests(forms))
    def is_answered(asked: tuple[Form, dict[str, Any]]) -> None:
        form, sent = asked
        browser.cookies.clear()
        browser.cookies.update(cookies)
        with transaction.atomic():
            answer = browser.post(form.address, sent)
            connection.check_constraints()
            transaction.set_rollback(True)
        assert answer.status_code < 500, (form.address, sent)
        # Nothing went meanwhile: to say so would hide a fault of ours.
        assert "409.html" not in {used.name for used in answer.templates}, (form.address, sent)

    is_answered()


def test_bad_input_is_never_a_fault_of_ours(clinic: tuple[Cast, list[Form]], db: None) -> None:
    _, forms = clinic
    assert len({form.address for form in forms}) > 80
    assert any(form.files for form in forms)
    check(clinic, examples=400, is_repeatable=True)


@pytest.mark.endurance
def test_ten_thousand_bad_inputs_are_never_a_fault_of_ours(
    clinic: tuple[Cast, list[Form]], db: None
) -> None:
    check(clinic, examples=10_000, is_repeatable=False)
