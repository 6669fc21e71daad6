"""The page shown when the record cannot be reached or kept: a sentence, and what was typed.

It asks the database nothing, and shows only to the sender what the same request brought.
"""

import errno
import sys
from dataclasses import dataclass

from django.db import InterfaceError, OperationalError
from django.http import HttpRequest, HttpResponse
from django.http.request import RawPostDataException
from django.middleware.csrf import get_token
from django.template import loader

NO_ROOM = {errno.ENOSPC, errno.EDQUOT}
# A form with a field that is named so is never kept: what is secret is typed again.
SECRET = ("password", "passphrase")
RETRY_AFTER_S = "20"


@dataclass(frozen=True)
class Typed:
    """One field as it came, to be sent again as it is."""

    name: str
    value: str

    @property
    def label(self) -> str:
        return self.name.replace("_", " ").replace("-", " ")


def server_error(request: HttpRequest) -> HttpResponse:
    """Answer what nobody caught: 503 where the database is the cause, else 500."""
    error = sys.exception()
    is_away = is_database_away(error)
    template = loader.get_template("503.html" if is_away else "500.html")
    kept = _kept(request)
    page = template.render(
        {
            "typed": kept,
            "has_files": bool(kept is not None and request.FILES),
            "action": request.get_full_path(),
            "token": get_token(request),
        }
    )
    response = HttpResponse(page, status=503 if is_away else 500)
    if is_away:
        response.headers["Retry-After"] = RETRY_AFTER_S
    return response


def is_database_away(error: BaseException | None) -> bool:
    """Whether the database cannot be reached, is full or shuts down, rather than our own fault."""
    if isinstance(error, OSError):
        return error.errno in NO_ROOM
    return isinstance(error, OperationalError | InterfaceError)


def _kept(request: HttpRequest) -> list[Typed] | None:
    """What a form brought, without secrets; None where nothing was sent or it cannot be sent again.

    A password is typed again: a page must not carry it.
    """
    if request.method != "POST":
        return None
    try:
        pairs = [(name, value) for name, values in request.POST.lists() for value in values]
    except (OSError, RawPostDataException):
        return None
    if any(word in name for name, _ in pairs for word in SECRET):
        return None
    return [Typed(name, str(value)) for name, value in pairs if name != "csrfmiddlewaretoken"]
