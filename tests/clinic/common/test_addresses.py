"""Where a request comes from, with and without the clinic's own proxy in front.

The addresses are those that RFC 5737 and RFC 3849 keep for examples.
"""

from typing import Any

import pytest
from django.test import RequestFactory

from clinic.common.addresses import client_address


@pytest.mark.parametrize(
    ("behind_proxy", "forwarded", "expected"),
    [
        (False, "203.0.113.9", "192.0.2.1"),
        (True, "203.0.113.9, 198.51.100.7", "198.51.100.7"),
        (True, "2001:db8::5", "2001:db8::5"),
        (True, "", "192.0.2.1"),
        (True, "not an address", None),
    ],
)
def test_only_the_clinics_own_proxy_is_believed(
    settings: Any, behind_proxy: bool, forwarded: str, expected: str | None
) -> None:
    settings.BEHIND_PROXY = behind_proxy
    request = RequestFactory().get(
        "/", REMOTE_ADDR="192.0.2.1", headers={"x-forwarded-for": forwarded}
    )
    assert client_address(request) == expected


def test_a_socket_without_address_gives_none() -> None:
    assert client_address(RequestFactory().get("/", REMOTE_ADDR="")) is None
