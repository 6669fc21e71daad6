"""The page shown when something cannot be kept, whoever's fault: a sentence, and what was typed.

It asks the database nothing, and shows only to the sender what the same request brought.
"""

import errno
import sys
from dataclasses import dataclass
from http import HTTPStatus

from django.core.exceptions import ObjectDoesNotExist
from django.db import IntegrityError, InterfaceError, OperationalError
from django.http import HttpRequest, HttpResponse
from django.http.request import RawPostDataException
from django.middleware.csrf import get_token
from django.template import loader

NO_ROOM = {errno.ENOSPC, errno.EDQUOT}
# A form with a field that is named so is never kept: what is secret is typed again.
SECRET = ("password", "passphrase")
# PostgreSQL manual, appendix A.
FOREIGN_KEY_VIOLATION = "23503"
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
    """Answer what nobody caught.

    503 where the database is the cause, 409 where somebody else was quicker, else 500.
    """
    status = _status(request, sys.exception())
    kept = _kept(request)
    page = loader.get_template(f"{status}.html").render(
        {
            "typed": kept,
            "has_files": bool(kept is not None and request.FILES),
            "action": request.get_full_path(),
            "token": get_token(request),
        }
    )
    response = HttpResponse(page, status=status)
    if status == HTTPStatus.SERVICE_UNAVAILABLE:
        response.headers["Retry-After"] = RETRY_AFTER_S
    return response


def _status(request: HttpRequest, error: BaseException | None) -> int:
    if is_database_away(error):
        return HTTPStatus.SERVICE_UNAVAILABLE
    # What a script sends it keeps itself, and sends again by itself.
    is_by_hand = request.method == "POST" and "HX-Request" not in request.headers
    if is_by_hand and is_gone(error):
        return HTTPStatus.CONFLICT
    return HTTPStatus.INTERNAL_SERVER_ERROR


def is_database_away(error: BaseException | None) -> bool:
    """Whether the database cannot be reached, is full or shuts down, rather than our own fault."""
    if isinstance(error, OSError):
        return error.errno in NO_ROOM
    return isinstance(error, OperationalError | InterfaceError)


def is_gone(error: BaseException | None) -> bool:
    """Whether what a form works on went between its reading and its writing.

    A row refers to what is no longer there, or a row read before is not found again. A merged or
    erased record is not there to the database's own triggers (`clinic.keeping`).
    """
    if isinstance(error, IntegrityError):
        return getattr(error.__cause__, "sqlstate", None) == FOREIGN_KEY_VIOLATION
    # A relation that has no row is an AttributeError as well, and our own fault.
    return isinstance(error, ObjectDoesNotExist) and not isinstance(error, AttributeError)


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
