"""The database gone or full: a sentence, and what was typed is still there."""

from collections.abc import Callable, Iterator
from html.parser import HTMLParser
from pathlib import Path

import pytest
from django.db import connection
from django.test import Client as Browser

from clinic.audit.models import Entry
from clinic.clients.models import Referrer
from tests.cast import make_cast

NOTE = 'Dr Ostrander\'s line\nis <new> & "quoted"'
FORM = "clinic.clients.views.referrers.ReferrerForm"
TYPED = {"name": NOTE, "fax": "555 0100", "kind": ["a", "b"]}


def forgiving_browser() -> Browser:
    """One that shows the error page, as a real one does, instead of raising."""
    browser = Browser(raise_request_exception=False)
    browser.force_login(make_cast().front_desk)
    return browser


class KeptForm(HTMLParser):
    """The fields of the page's form, as the standard library's parser reads them."""

    def __init__(self) -> None:
        super().__init__()
        self.fields: dict[str, list[str]] = {}
        self.open = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag == "textarea":
            self.open = dict(attrs)["name"] or ""
            self.fields.setdefault(self.open, []).append("")

    def handle_endtag(self, tag: str) -> None:
        self.open = ""

    def handle_data(self, text: str) -> None:
        if self.open:
            self.fields[self.open][-1] += text


def fields_of(page: str) -> dict[str, list[str]]:
    """What a browser would send from the page's form."""
    form = KeptForm()
    form.feed(page)
    # HTML Living Standard, 13.2.6.4.7: a newline right after <textarea> is dropped.
    return {
        name: [value.removeprefix("\n") for value in values] for name, values in form.fields.items()
    }


@pytest.fixture
def gone(transactional_db: None, tmp_path: Path) -> Iterator[Browser]:
    """A signed-in browser, and then no server behind the database's address."""
    browser = forgiving_browser()
    host = connection.settings_dict["HOST"]
    connection.close()
    connection.settings_dict["HOST"] = str(tmp_path)
    yield browser
    connection.settings_dict["HOST"] = host


def test_a_form_sent_while_the_database_is_gone_comes_back_to_be_sent_again(gone: Browser) -> None:
    answer = gone.post("/referrers/new/?from=list", TYPED)
    page = answer.content.decode()
    assert answer.status_code == 503
    assert answer.headers["Retry-After"] == "20"
    assert "The record cannot be reached just now" in page
    assert 'action="/referrers/new/?from=list"' in page
    assert fields_of(page) == {"name": [NOTE], "fax": ["555 0100"], "kind": ["a", "b"]}


def test_a_page_asked_for_while_the_database_is_gone_offers_to_try_again(gone: Browser) -> None:
    answer = gone.get("/")
    assert answer.status_code == 503
    assert "Try again" in answer.content.decode()
    assert answer.headers["Cache-Control"] == "no-store, private"


@pytest.mark.parametrize(
    ("address", "name"),
    [("/sign-in/", "password"), ("/account/recovery-codes/new/", "password_now")],
)
def test_a_password_is_never_sent_back(gone: Browser, address: str, name: str) -> None:
    answer = gone.post(address, {"username": "dora", name: "four words make one"})
    assert answer.status_code == 503
    assert b"four words" not in answer.content


@pytest.mark.django_db
def test_a_full_disk_is_told_and_the_typed_text_kept() -> None:
    """The server's own error for a full disk: SQLSTATE 53100, PostgreSQL manual, appendix A."""
    browser = forgiving_browser()
    with connection.cursor() as cursor:
        cursor.execute(
            "CREATE FUNCTION full_disk() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN "
            "RAISE EXCEPTION 'no space left' USING ERRCODE = '53100'; END $$"
        )
        cursor.execute(
            "CREATE TRIGGER full_disk BEFORE INSERT ON clients_referrer "
            "FOR EACH ROW EXECUTE FUNCTION full_disk()"
        )
    typed = {
        "given_name": "Wren",
        "family_name": "Ostrander",
        "street": "4 Quay Street",
        "town": "Saltmarsh, ME 04000",
        "delivery": "post",
        "letter_frequency": "monthly",
    }
    answer = browser.post("/referrers/new/", typed)
    assert answer.status_code == 503
    assert fields_of(answer.content.decode())["family_name"] == ["Ostrander"]
    assert not Referrer.objects.exists()


@pytest.mark.django_db
def test_a_fault_of_ours_keeps_the_typed_text_too(monkeypatch: pytest.MonkeyPatch) -> None:
    browser = forgiving_browser()
    monkeypatch.setattr(FORM, None)
    answer = browser.post("/referrers/new/", TYPED)
    assert answer.status_code == 500
    assert fields_of(answer.content.decode())["name"] == [NOTE]


@pytest.mark.django_db
def test_what_went_before_it_was_saved_is_told_and_the_typed_text_kept(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Sent again it would find nothing, so that is not offered."""
    browser = forgiving_browser()
    monkeypatch.setattr(
        "clinic.clients.views.referrers.ReferrerForm", raising(Referrer.DoesNotExist)
    )
    answer = browser.post("/referrers/new/", TYPED)
    page = answer.content.decode()
    assert answer.status_code == 409
    assert "removed meanwhile" in page
    assert "is &lt;new&gt; &amp; &quot;quoted&quot;" in page
    assert "Send it again" not in page


@pytest.mark.django_db
def test_a_page_asked_for_in_vain_is_a_fault_of_ours(monkeypatch: pytest.MonkeyPatch) -> None:
    """As is a relation without a row; and a script is told to send again."""
    browser = forgiving_browser()
    monkeypatch.setattr(FORM, raising(Referrer.DoesNotExist))
    assert browser.get("/referrers/new/").status_code == 500
    sent = browser.post("/referrers/new/", TYPED, headers={"HX-Request": "true"})
    assert sent.status_code == 500
    monkeypatch.setattr(FORM, raising(Entry.link.RelatedObjectDoesNotExist))
    assert browser.post("/referrers/new/", TYPED).status_code == 500


def raising(error: type[Exception]) -> Callable[..., None]:
    def form(*_: object, **__: object) -> None:
        raise error

    return form
