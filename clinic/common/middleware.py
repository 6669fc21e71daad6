"""Headers that every page of a clinical record needs."""

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse


class PrivatePages:
    """No page is kept by a browser or a proxy: the next person at the desk must not go back."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        response.headers.setdefault("Cache-Control", "no-store, private")
        response.headers.setdefault(
            "Permissions-Policy", "camera=(), microphone=(), geolocation=()"
        )
        return response
