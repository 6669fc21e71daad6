"""Signs a person out who did nothing for a while or signed in long ago; keeps a form sent late."""

from collections.abc import Callable

from django.contrib.auth import SESSION_KEY
from django.contrib.auth.models import AnonymousUser
from django.http import HttpRequest, HttpResponse

from clinic.common.failing import SECRET

# A script says so of what it asks on its own: polls, saving as one goes. What a person really does
# (a key, a touch) the page tells by itself, in a request without this header.
BACKGROUND = "X-Background"
# Whose sign-in ended here, and what they sent last: given back to nobody else.
ENDED_FOR = "ended_for"
KEPT = "kept"
MOST_KEPT = 500_000
NEVER_KEPT = (*SECRET, "code")


class IdleSignOut:
    """Ends a session by the last thing a person did, however often a page asks on its own.

    And by the hour they signed in, however busy they are.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if SESSION_KEY in request.session:
            if request.session.is_over:
                end_session(request)
            elif is_activity(request):
                request.session.seen()
        return self.get_response(request)


def is_activity(request: HttpRequest) -> bool:
    return BACKGROUND not in request.headers and "HX-Request" not in request.headers


def end_session(request: HttpRequest) -> None:
    """Sign out; what was sent just now waits for the same person, for nobody else."""
    person = request.session[SESSION_KEY]
    request.session.flush()
    request.user = AnonymousUser()
    request.session[ENDED_FOR] = person
    if request.method == "POST" and is_activity(request):
        _keep(request)


def _keep(request: HttpRequest) -> None:
    pairs = [[name, value] for name, values in request.POST.lists() for value in values]
    is_secret = any(word in name for name, _ in pairs for word in NEVER_KEPT)
    if not is_secret and sum(len(value) for _, value in pairs) <= MOST_KEPT:
        kept = [pair for pair in pairs if pair[0] != "csrfmiddlewaretoken"]
        request.session[KEPT] = {
            "action": request.get_full_path(),
            "pairs": kept,
            "has_files": bool(request.FILES),
        }
