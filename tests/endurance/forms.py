"""Every form of the app as a browser sees it: where it sends what, and what stands in it."""

from dataclasses import dataclass
from html.parser import HTMLParser
from typing import Any
from urllib.parse import urljoin

from django.test import Client as Browser

SENT = {"post": "post", "hx-post": "post", "formaction": "post"}


@dataclass(frozen=True)
class Form:
    """Fields as (name, value as shown); a name may come more than once."""

    address: str
    fields: tuple[tuple[str, str], ...]
    files: tuple[str, ...] = ()

    @property
    def names(self) -> tuple[str, ...]:
        return tuple(dict.fromkeys(name for name, _ in self.fields))


class Reader(HTMLParser):
    """Collects the forms of one page, and what scripts send from single elements."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.page = page
        self.found: list[dict[str, Any]] = []
        self.open: dict[str, Any] | None = None
        self.select = self.text_area = ""
        self.text = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = {name: value or "" for name, value in attrs}
        if tag == "form":
            self.open = self._begin(given.get("action", ""), given.get("method", "get").lower())
        elif self.open is not None:
            self._field(tag, given)
        for sent in ("hx-post", "formaction"):
            if sent in given:
                self._also(given[sent])

    def handle_endtag(self, tag: str) -> None:
        if tag == "form":
            self.open = None
        elif tag == "select":
            self.select = ""
        elif tag == "textarea" and self.text_area and self.open is not None:
            self.open["fields"].append((self.text_area, self.text.removeprefix("\n")))
            self.text_area = ""

    def handle_data(self, text: str) -> None:
        if self.text_area:
            self.text += text

    def _begin(self, action: str, method: str) -> dict[str, Any]:
        form: dict[str, Any] = {"address": urljoin(self.page, action), "method": method}
        form |= {"fields": [], "files": []}
        self.found.append(form)
        return form

    def _also(self, address: str) -> None:
        """A script sends the form it stands in to another address, or nothing but itself."""
        fields = self.open["fields"] if self.open is not None else []
        self.found.append(
            {"address": urljoin(self.page, address), "method": "post", "fields": fields}
            | {"files": []}
        )

    def _field(self, tag: str, given: dict[str, str]) -> None:
        assert self.open is not None
        name = given.get("name", "")
        if tag == "select":
            self.select = name
            self.open["fields"].append((name, ""))
        elif tag == "option" and self.select and "selected" in given:
            self.open["fields"].append((self.select, given.get("value", "")))
        elif tag == "textarea":
            self.text_area, self.text = name, ""
        elif tag in {"input", "button"} and name and name != "csrfmiddlewaretoken":
            kind = given.get("type", "text")
            (self.open["files"] if kind == "file" else self.open["fields"]).append(
                name if kind == "file" else (name, given.get("value", ""))
            )


def forms_of(browser: Browser, pages: dict[str, str]) -> list[Form]:
    """Every form that posts, on every page that opens; one of a kind for each address."""
    found: dict[tuple[str, tuple[str, ...]], Form] = {}
    for address in pages.values():
        answer = browser.get(address)
        if answer.status_code != 200 or answer.streaming:
            continue
        if not answer.headers["Content-Type"].startswith("text/html"):
            continue
        reader = Reader(address)
        reader.feed(answer.content.decode())
        for form in reader.found:
            if form["method"] == "post":
                one = Form(form["address"], tuple(form["fields"]), tuple(form["files"]))
                found.setdefault((one.address, one.names), one)
    return list(found.values())
