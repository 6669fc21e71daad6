"""The steps of a sign-in as they pass through a session: password, code, signed in."""

import time
from dataclasses import dataclass

from django.contrib.auth import login
from django.http import HttpRequest
from django.urls import reverse
from django.utils import timezone
from django.utils.crypto import constant_time_compare
from django.utils.http import url_has_allowed_host_and_scheme

from clinic.accounts.devices import device_words
from clinic.accounts.idle import ENDED_FOR, KEPT
from clinic.accounts.models import User
from clinic.accounts.selectors import active_person, second_factor_of
from clinic.accounts.sessions import PLACE
from clinic.common.addresses import client_address

BACKEND = "django.contrib.auth.backends.ModelBackend"
# Set once the code was right; `permits` asks for it.
SECOND_FACTOR = "second_factor"
PENDING = "pending_sign_in"
# How long a right password waits for its code.
PENDING_S = 300


@dataclass(frozen=True)
class Wanted:
    """Where a person wanted to go before they had to sign in."""

    address: str

    @classmethod
    def by(cls, request: HttpRequest) -> "Wanted":
        asked = request.POST.get("next") or request.GET.get("next") or ""
        is_own = url_has_allowed_host_and_scheme(
            asked, allowed_hosts={request.get_host()}, require_https=request.is_secure()
        )
        return cls(asked if is_own else "")


def password_given(request: HttpRequest, person: User, wanted: Wanted) -> str:
    """The password was right: sign in, or wait for the code. Returns where to go next."""
    if second_factor_of(person) is None:
        return signed_in(request, person, wanted)
    request.session.cycle_key()
    request.session[PENDING] = {
        "person": person.pk,
        "proof": person.get_session_auth_hash(),
        "at": time.time(),
        "wanted": wanted.address,
    }
    return reverse("sign-in-code")


def awaited_person(request: HttpRequest) -> User | None:
    """Who gave the right password a moment ago and owes the code."""
    pending = request.session.get(PENDING)
    if not pending or time.time() - pending["at"] > PENDING_S:
        return None
    person = active_person(pending["person"])
    if person is None or not constant_time_compare(
        person.get_session_auth_hash(), pending["proof"]
    ):
        return None
    return person


def code_given(request: HttpRequest, person: User) -> str:
    """The code was right as well. Returns where to go next."""
    wanted = Wanted(request.session.pop(PENDING)["wanted"])
    return signed_in(request, person, wanted, has_second=True)


def signed_in(
    request: HttpRequest, person: User, wanted: Wanted, *, has_second: bool = False
) -> str:
    """Begin a person's session. Returns where to go: where they were, never where another was.

    Sessions whose time is over go at the same time: one may hold a form that nobody came back to.
    """
    request.session.clear_expired()
    ended_for = request.session.pop(ENDED_FOR, None)
    kept = request.session.pop(KEPT, None)
    request.session.pop(PENDING, None)
    login(request, person, backend=BACKEND)
    remember_place(request)
    if has_second:
        request.session[SECOND_FACTOR] = True
    if ended_for is not None and ended_for != str(person.pk):
        return reverse("today")
    if kept:
        request.session[KEPT] = kept
        return reverse("kept-form")
    return wanted.address or reverse("today")


def remember_place(request: HttpRequest) -> None:
    """Note when and from where this session began."""
    request.session[PLACE] = {
        "at": timezone.now().isoformat(),
        "address": client_address(request),
        "device": device_words(request.headers.get("User-Agent", "")),
    }


def stay_signed_in(request: HttpRequest, person: User) -> None:
    """Begin the session anew for who just replaced their own password."""
    kept = {
        name: request.session[name] for name in (PLACE, SECOND_FACTOR) if name in request.session
    }
    login(request, person, backend=BACKEND)
    request.session.update(kept)
