"""axe-core finds nothing on any page of the clinic lead and the front desk, by day or night."""

from collections.abc import Callable

import pytest
from playwright.sync_api import Page

from clinic.accounts.models import User
from tests.cast import Cast
from tests.furnished import addresses, furnish

pytestmark = [
    pytest.mark.journey,
    pytest.mark.django_db(transaction=True),
    pytest.mark.usefixtures("demo_today"),
]

# Answers that are no page of their own: files, live fragments, buttons that only take a POST.
NO_PAGE = {
    "still-here",
    "sign-in-again",
    "letters-batch-zip",
    "letters-batch-pdf",
    "sign-in",
    "sign-out",
    "appointment-clients",
    "appointment-file",
    "calendar-feed",
    "findings-suggest",
    "girths-baseline",
    "girths-draft",
    "girths-live",
    "letter-pdf",
    "programme-handout",
    "reminders-file",
    "scores-panel",
    "visit-readings",
}
# The dark style sheets change colours alone: axe-core's rules that look at colours, but for the
# enhanced contrast of level AAA, which it leaves off as well.
SCHEMES = {"light": (), "dark": ("color-contrast", "link-in-text-block")}


@pytest.mark.parametrize("who", ["lead", "front_desk"])
def test_no_page_has_a_barrier(
    who: str,
    page: Page,
    cast: Cast,
    sign_in: Callable[[User], None],
    barriers: Callable[..., list[tuple[str, list[str]]]],
) -> None:
    pages = addresses(furnish(cast))
    sign_in(getattr(cast, who))
    seen, found = set(), []
    for name, address in pages.items():
        response = page.request.get(address, max_redirects=0)
        is_page = response.ok and response.headers["content-type"].startswith("text/html")
        if not is_page or name in NO_PAGE:
            continue
        page.goto(address)
        for scheme, only in SCHEMES.items():
            page.emulate_media(color_scheme=scheme, reduced_motion="reduce")
            found += [(name, scheme, *barrier) for barrier in barriers(only=only)]
        seen.add(name)
    assert not found, "\n".join(str(one) for one in found)
    assert len(seen) > (60 if who == "lead" else 25), sorted(seen)
