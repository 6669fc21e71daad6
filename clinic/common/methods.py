"""Which requests a page answers."""

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse, HttpResponseNotAllowed
from django.views.decorators.http import require_http_methods

TAKEN = ["GET", "HEAD", "POST"]
# A page with a form: looked at, or sent back.
look_or_send = require_http_methods(TAKEN)


class FormsOnly:
    """No page here is asked by a method that neither a link nor a form can send."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if request.method not in TAKEN:
            return HttpResponseNotAllowed(TAKEN)
        return self.get_response(request)
