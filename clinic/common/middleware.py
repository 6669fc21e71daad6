"""Headers that every page of a clinical record needs."""

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse

# Every feature of a browser's device that a page could ask for and none of ours needs.
NOTHING_OF_THE_DEVICE = ", ".join(
    f"{feature}=()"
    for feature in (
        "accelerometer",
        "autoplay",
        "camera",
        "display-capture",
        "encrypted-media",
        "geolocation",
        "gyroscope",
        "hid",
        "idle-detection",
        "magnetometer",
        "microphone",
        "midi",
        "payment",
        "screen-wake-lock",
        "serial",
        "usb",
    )
)


class PrivatePages:
    """No page is kept by a browser or a proxy: the next person at the desk must not go back."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        response.headers.setdefault("Cache-Control", "no-store, private")
        response.headers.setdefault("Permissions-Policy", NOTHING_OF_THE_DEVICE)
        # No page of another site may load ours, not even as an image; SecurityMiddleware sends the
        # opener's policy and nosniff.
        response.headers.setdefault("Cross-Origin-Resource-Policy", "same-origin")
        return response
