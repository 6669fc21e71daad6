"""Where a request comes from."""

from ipaddress import ip_address

from django.conf import settings
from django.http import HttpRequest


def client_address(request: HttpRequest) -> str | None:
    """The network address a request came from; None where it cannot be told.

    Behind the clinic's own proxy it is the last address of X-Forwarded-For, the one that the proxy
    itself added: whatever stands before it was written by the sender, who may write anything.
    """
    claimed = request.META.get("REMOTE_ADDR", "")
    if settings.BEHIND_PROXY:
        forwarded = request.META.get("HTTP_X_FORWARDED_FOR", "")
        claimed = forwarded.rsplit(",", 1)[-1] or claimed
    try:
        return str(ip_address(claimed.strip()))
    except ValueError:
        return None
