"""Wrong passwords are counted, by a library and what it asks of us: at sign-in and later alike."""

from ipaddress import IPv6Address, ip_address, ip_network
from typing import Any

from axes.utils import reset
from django.conf import settings
from django.contrib import messages
from django.contrib.auth import authenticate
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect

from clinic.accounts.idle import end_session, is_activity
from clinic.accounts.sentences import SIGNED_OUT_BY_LOCK
from clinic.common.addresses import client_address

# RFC 4291, 2.5.4: the last 64 bits name an interface; a sender may take any of them.
NETWORK_BITS = 64


def name_tried(request: HttpRequest, credentials: dict[str, Any] | None) -> str:
    """The sign-in name as it is counted: capitals open no fresh count."""
    told = (credentials or {}).get("username") or request.POST.get("username") or ""
    return str(told).strip().casefold()[:255]


def address_counted(request: HttpRequest) -> str | None:
    """The sender's address; of IPv6 its network, within which a sender changes it at will."""
    told = client_address(request)
    address = ip_address(told) if told else None
    if not isinstance(address, IPv6Address):
        return told
    if address.ipv4_mapped:
        return str(address.ipv4_mapped)
    return str(ip_network((address, NETWORK_BITS), strict=False).network_address)


def is_own_password(request: HttpRequest, password: str) -> bool:
    """Whether it is that of the person signed in.

    As at sign-in, a wrong one is counted and a right one clears the count.
    """
    name = request.user.sign_in_name
    if authenticate(request, username=name, password=password) is None:
        return False
    reset(ip=address_counted(request), username=name.casefold())
    return True


def answer(
    request: HttpRequest, response: HttpResponse, credentials: dict[str, Any] | None
) -> HttpResponse:
    """The sign-in page as it was made, with its sentence about waiting, as status 429.

    It is the same for names that exist and names that do not: both are counted. Where somebody is
    signed in, that ends: who guesses the password there may not be its person.
    """
    if request.user.is_authenticated:
        end_session(request)
        if is_activity(request):
            messages.error(request, SIGNED_OUT_BY_LOCK)
            return redirect("sign-in")
    response.status_code = 429
    response.headers["Retry-After"] = str(int(settings.AXES_COOLOFF_TIME.total_seconds()))
    return response
