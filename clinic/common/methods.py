"""Which requests a page answers."""

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse, HttpResponseNotAllowed
from django.views.decorators.http import require_http_methods

TAKEN = ["GET", "HEAD", "POST"]
# Four times the largest file a form takes, so that one a little too large is refused by its form.
MOST_BYTES = 32 * 1024 * 1024
TOO_LARGE = "What was sent is larger than 32 MB, so none of it was read or saved. Go back."
# A page with a form: looked at, or sent back.
look_or_send = require_http_methods(TAKEN)


class FormsOnly:
    """No page here is asked by a method that neither a link nor a form can send.

    And none is sent more than a form can hold: a file would fill the disk before anybody signs in.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if request.method not in TAKEN:
            return HttpResponseNotAllowed(TAKEN)
        if _sent_bytes(request) > MOST_BYTES:
            return HttpResponse(TOO_LARGE, status=413, content_type="text/plain; charset=utf-8")
        return self.get_response(request)


def _sent_bytes(request: HttpRequest) -> int:
    """As its sender says; no more than that is ever read, and nothing where it does not say."""
    told = request.META.get("CONTENT_LENGTH") or ""
    return int(told) if told.isdigit() else 0
