"""Every role asks every address with every method, for records of its own and of others.

What it may is what the table in DEVELOPERS.md says; the table and the app name the same addresses.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from uuid import UUID

import pytest
from django.db import transaction
from django.db.models import Count
from django.test import Client as Browser
from django.urls import URLPattern
from django.utils.html import escape

from clinic.accounts.permits import OPEN_TO_ALL
from clinic.audit.models import Entry
from clinic.clients.models import Client
from clinic.common.vocabulary import Role
from clinic.keeping.databases import working_in
from tests.architecture.test_permits import PATTERNS
from tests.builders import today
from tests.cast import Cast, make_cast
from tests.demos import DemoOf
from tests.furnished import addresses, furnish

GUIDE = Path(__file__).parents[2] / "DEVELOPERS.md"
ROW = re.compile(r"^\| `([a-z_.]+)` \| (yes|no) \| (yes|no) \| (yes|no) \| (.+) \|$", re.M)
ROLES = (Role.FRONT_DESK, Role.THERAPIST, Role.CLINIC_LEAD)
TAKEN = ("get", "post")
# What stands in an address of one client's record.
OF_A_CLIENT = frozenset(
    f"{what}_id"
    for what in (
        *("client", "episode", "region", "precaution", "session", "score", "programme", "garment"),
        *("record", "appointment", "entry", "authorisation", "note", "plan", "goal", "letter"),
        *("sending", "copy", "correction", "access", "erasure", "hold", "row"),
    )
)
# Pages that ask for one step, from a page that notes the look, and show who the client is and
# little more. What they keep is noted when it is sent.
ASKS_FOR_A_STEP = {
    *("client-deactivate", "client-erase", "client-export", "client-merge", "client-take-out"),
    *("erasure-confirm", "copy-new", "correction-new", "emergency-review"),
    *("client-hold", "hold-lift"),
    *("episode-new", "treatment-new", "treatment-remove", "precaution-new", "precaution-clear"),
    *("girths-import", "girths-strike", "findings-new", "scores-new", "scores-panel"),
    *("score-strike", "programme-discard", "programme-withdraw", "garment-new", "garment-fit"),
    *("garment-end", "bandaging-new", "visit-new", "visit-discard", "plan-new", "plan-discard"),
    *("plan-certify", "plan-end", "goal-review", "letter-new", "letter-discard"),
    *("client-appointment-new", "appointment-move", "appointment-cancel", "client-series-new"),
    *("recall-snooze", "recall-schedule", "wait-list-join", "wait-list-leave"),
    *("authorisation-new", "authorisation-edit", "reminder-consents", "letters-sent-again"),
}
# Pages of many clients, sorted by the guide's rule. These leave one entry, of nobody's record:
TELL_OF_CARE = {
    *("today", "caseload", "recalls", "emergencies", "record"),
    *("letter-run", "letters-to-send", "letters-batch", "letters-sent"),
}
# These leave none:
TELL_WHO_AND_WHEN = {
    *("clients", "calendar", "day-sheet", "wait-list", "reminders"),
    *("record-requests", "erasures", "retention", "keeping"),
}
# These leave one for each client in them:
FILES_OF_MANY = {"reminders-file", "letters-batch-pdf", "letters-batch-zip"}
NEVER_TAKEN = ("put", "patch", "delete", "options", "trace")


@dataclass(frozen=True)
class Row:
    """One line of the guide's table."""

    roles: frozenset[Role]
    names: frozenset[str]


def guide() -> dict[str, Row]:
    rows = {}
    for permit, *ticks, names in ROW.findall(GUIDE.read_text()):
        allowed = {role for role, tick in zip(ROLES, ticks, strict=True) if tick == "yes"}
        rows[permit] = Row(frozenset(allowed), frozenset(re.findall(r"`([a-z0-9-]+)`", names)))
    return rows


def permit_of(pattern: URLPattern) -> str:
    return str(pattern.callback.permit)  # type: ignore[attr-defined]


@pytest.fixture(scope="module")
def clinic(demo_of: DemoOf, django_db_blocker: Any) -> Iterator[tuple[Cast, dict[str, Any]]]:
    """The demo's clinic with one of everything: each record is one person's own, others look."""
    with django_db_blocker.unblock(), working_in(demo_of(today())), transaction.atomic():
        cast = make_cast()
        yield cast, furnish(cast)
        transaction.set_rollback(True)


def test_the_guide_names_every_address_under_its_permit() -> None:
    named = {permit: row.names for permit, row in guide().items()}
    real: dict[str, set[str]] = {}
    for pattern in PATTERNS:
        if permit_of(pattern) != OPEN_TO_ALL:
            real.setdefault(permit_of(pattern), set()).add(pattern.name)
    assert {permit: sorted(names) for permit, names in named.items()} == {
        permit: sorted(names) for permit, names in real.items()
    }


def answers(browser: Browser, address: str, methods: tuple[str, ...]) -> dict[str, int]:
    """The status for each method; whatever a request changed is taken back."""
    found = {}
    for method in methods:
        with transaction.atomic():
            found[method] = getattr(browser, method)(address).status_code
            transaction.set_rollback(True)
    return found


@pytest.mark.parametrize("role", ROLES)
def test_each_role_may_what_the_guide_says_and_no_more(
    role: Role, clinic: tuple[Cast, dict[str, Any]], db: None
) -> None:
    cast, ids = clinic
    user = {
        Role.FRONT_DESK: cast.front_desk,
        Role.THERAPIST: cast.therapist,
        Role.CLINIC_LEAD: cast.lead,
    }[role]
    others = ids | {"client_id": Client.objects.exclude(pk=ids["client_id"]).first().pk}
    rows = guide()
    wrong: list[tuple[str, str, int]] = []
    for whose in (ids, others):
        pages = addresses(whose)
        for pattern in PATTERNS:
            if permit_of(pattern) == OPEN_TO_ALL:
                continue
            browser = Browser(raise_request_exception=False)
            browser.force_login(user)
            is_allowed = role in rows[permit_of(pattern)].roles
            methods = (*TAKEN, "head", *NEVER_TAKEN) if whose is ids else TAKEN
            found = answers(browser, pages[pattern.name], methods)
            wrong += [
                (pattern.name, method, status)
                for method, status in found.items()
                if not _fits(method, status, is_allowed=is_allowed)
            ]
    assert wrong == []


def _fits(method: str, status: int, *, is_allowed: bool) -> bool:
    """Refused wholly, or answered without a fault; and nothing answers what no form sends."""
    if method in NEVER_TAKEN:
        return status == 405
    if not is_allowed:
        return status == 403
    return status < 500 and status != 403


def test_a_page_of_one_client_leaves_one_entry(
    clinic: tuple[Cast, dict[str, Any]], db: None
) -> None:
    cast, ids = clinic
    browser, pages = Browser(raise_request_exception=False), addresses(ids)
    browser.force_login(cast.lead)
    wrong = {}
    for pattern in PATTERNS:
        if not OF_A_CLIENT & pattern.pattern.converters.keys():
            continue
        answer, noted = looked_at(browser, pages[pattern.name])
        expected = 0 if pattern.name in ASKS_FOR_A_STEP else 1
        if pattern.name == "client-merge-with":
            expected = 2  # two clients
        is_right = None not in noted and list(noted.values()) == [1] * expected
        if answer.status_code == 200 and not is_right:
            wrong[pattern.name] = noted
    assert wrong == {}


def test_a_page_of_many_clients_leaves_one_entry_where_it_tells_of_their_care(
    clinic: tuple[Cast, dict[str, Any]], db: None
) -> None:
    """A new page that names clients fails until it stands in one of the tables."""
    cast, ids = clinic
    browser, pages = Browser(raise_request_exception=False), addresses(ids)
    browser.force_login(cast.lead)
    # The furnished record of “Nobody” is left out: the word is on every page.
    people = Client.objects.exclude(pk=ids["other_id"])
    names = [escape(name).encode() for name in people.values_list("family_name", flat=True)]
    wrong = {}
    for pattern in PATTERNS:
        if OF_A_CLIENT & pattern.pattern.converters.keys():
            continue
        answer, noted = looked_at(browser, pages[pattern.name])
        is_named = answer.status_code == 200 and any(name in answer.content for name in names)
        if not _noted_as_told(pattern.name, noted, is_named=is_named):
            wrong[pattern.name] = (answer.status_code, noted)
    assert wrong == {}


def _noted_as_told(name: str, noted: dict[UUID | None, int], *, is_named: bool) -> bool:
    if name in TELL_OF_CARE:
        return noted == {None: 1}
    if name in TELL_WHO_AND_WHEN:
        return noted == {}
    if name in FILES_OF_MANY:
        return None not in noted and set(noted.values()) <= {1}
    return not is_named


def looked_at(browser: Browser, address: str) -> tuple[Any, dict[UUID | None, int]]:
    """The answer to a look, and how many entries it left for each client; taken back."""
    with transaction.atomic():
        last = Entry.objects.order_by("-pk").values_list("pk", flat=True)[0]
        answer = browser.get(address)
        left = Entry.objects.filter(pk__gt=last).order_by().values_list("client")
        noted = dict(left.annotate(count=Count("pk")))
        transaction.set_rollback(True)
    return answer, noted
