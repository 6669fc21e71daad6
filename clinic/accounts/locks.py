"""What the library that counts wrong passwords asks of us."""

from typing import Any

from django.conf import settings
from django.http import HttpRequest, HttpResponse


def name_tried(request: HttpRequest, credentials: dict[str, Any] | None) -> str:
    """The sign-in name as it is counted: capitals open no fresh count."""
    told = (credentials or {}).get("username") or request.POST.get("username") or ""
    return str(told).strip().casefold()[:255]


def answer(
    request: HttpRequest, response: HttpResponse, credentials: dict[str, Any] | None
) -> HttpResponse:
    """The sign-in page as it was made, with its sentence about waiting, as status 429.

    It is the same for names that exist and names that do not: both are counted.
    """
    response.status_code = 429
    response.headers["Retry-After"] = str(int(settings.AXES_COOLOFF_TIME.total_seconds()))
    return response
