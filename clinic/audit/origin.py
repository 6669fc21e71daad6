"""Where a look or a change comes from: the address and session of the request, or a command."""

import hashlib
from collections.abc import Callable
from contextvars import ContextVar
from dataclasses import dataclass

from django.http import HttpRequest, HttpResponse

from clinic.common.addresses import client_address

COMMAND = "command"
UNKNOWN = "unknown"
MARK_LENGTH = 8


@dataclass(frozen=True, slots=True)
class Origin:
    """An address (or "command") and a mark that is the same for all of one sign-in."""

    address: str
    session_mark: str = ""


_request: ContextVar[HttpRequest | None] = ContextVar("request_at_hand", default=None)


def origin_of_now() -> Origin:
    """Asked at the moment of recording: signing in changes the session within a request."""
    request = _request.get()
    if request is None:
        return Origin(COMMAND)
    return Origin(client_address(request) or UNKNOWN, session_mark_of(request))


def session_mark_of(request: HttpRequest) -> str:
    """Tells sign-ins apart without giving a session away: a few digits of its key's hash."""
    session = getattr(request, "session", None)
    key = session.session_key if session is not None else None
    return hashlib.sha256(key.encode()).hexdigest()[:MARK_LENGTH] if key else ""


class RequestAtHand:
    """Middleware: lets the record know the request that is being answered."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        token = _request.set(request)
        try:
            return self.get_response(request)
        finally:
            _request.reset(token)
