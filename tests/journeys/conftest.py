"""Headless Chromium of the system, one fresh page a test, and what no page may do."""

import os
import shutil
from collections.abc import Callable, Iterator

import pytest
from axe_playwright_python.base import AXE_SCRIPT
from playwright.sync_api import (
    Browser,
    BrowserContext,
    ConsoleMessage,
    Page,
    expect,
    sync_playwright,
)
from pytest_django.live_server_helper import LiveServer

from clinic.accounts.models import User
from tests.builders import today
from tests.cast import PASSWORD
from tests.demos import DemoOf, working_in_copy

PATIENCE_MS = 20_000  # a busy machine that runs many tests
QUIET = [
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
]


@pytest.fixture(scope="session")
def chromium() -> Iterator[Browser]:
    program = shutil.which("chromium") or shutil.which("chromium-browser")
    assert program, "The browser tests drive the system's Chromium: install the package chromium."
    # Chromium refuses its own sandbox to root, who runs these tests on a build machine.
    flags = [*QUIET, "--no-sandbox"] if os.geteuid() == 0 else QUIET
    expect.set_options(timeout=PATIENCE_MS)
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=program, args=flags)
        yield browser
        browser.close()


@pytest.fixture
def context(chromium: Browser, live_server: LiveServer) -> Iterator[BrowserContext]:
    context = chromium.new_context(
        base_url=live_server.url, viewport={"width": 1280, "height": 800}, accept_downloads=True
    )
    context.set_default_timeout(PATIENCE_MS)
    yield context
    context.close()


@pytest.fixture
def demo_today(demo_of: DemoOf) -> Iterator[None]:
    """The demo as it is loaded today, in a database of this test."""
    with working_in_copy(demo_of(today())):
        yield


def is_fault(said: ConsoleMessage) -> bool:
    """An error other than an answer that asks the person something (409, 422)."""
    return said.type == "error" and "status of 4" not in said.text


@pytest.fixture
def page(context: BrowserContext, live_server: LiveServer) -> Iterator[Page]:
    """A page that fails its test on a script error, a CSP refusal or a request to another host."""
    page, complaints = context.new_page(), []
    page.on("pageerror", lambda error: complaints.append(f"script: {error}"))
    page.on("console", lambda said: complaints.append(said.text) if is_fault(said) else None)
    page.on(
        "request",
        lambda request: (
            None
            if request.url.startswith((live_server.url, "data:", "blob:"))
            else complaints.append(f"asked another host: {request.url}")
        ),
    )
    yield page
    assert not complaints, complaints


@pytest.fixture
def sign_in(page: Page) -> Callable[[User], None]:
    def signed_in(user: User) -> None:
        page.goto("/sign-in/")
        page.get_by_label("Sign-in name").fill(user.sign_in_name)
        page.get_by_label("Password").fill(PASSWORD)
        page.keyboard.press("Enter")
        page.wait_for_selector("header.top")

    return signed_in


Barriers = list[tuple[str, list[str]]]


def barriers_of(page: Page, *, only: tuple[str, ...] = ()) -> Barriers:
    """(rule, place) of all that axe-core finds on the page as it stands, best practice included.

    `only`: these rules, not all.
    """
    if not page.evaluate("'axe' in window"):  # read in once a page, however often it is asked
        page.evaluate(AXE_SCRIPT)
    # What breaks no rule is neither listed nor sent over: it is most of what a page holds.
    rules = {"runOnly": {"type": "rule", "values": only}} if only else {}
    options = {"resultTypes": ["violations"]} | rules
    found = page.evaluate("(how) => axe.run(how).then((all) => all.violations)", options)
    return [(rule["id"], node["target"]) for rule in found for node in rule["nodes"]]


@pytest.fixture
def barriers(page: Page) -> Callable[..., Barriers]:
    return lambda **how: barriers_of(page, **how)


@pytest.fixture
def accessible(page: Page) -> Callable[[], None]:
    def check() -> None:
        assert not barriers_of(page), page.url

    return check
