"""The one table "action -> roles", and the decorator that every view wears."""

from collections.abc import Callable
from functools import wraps

from django.conf import settings
from django.contrib.auth.views import redirect_to_login
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect

from clinic.common.vocabulary import Role

View = Callable[..., HttpResponse]

EVERYONE = frozenset(Role)
CLINICAL = frozenset({Role.THERAPIST, Role.CLINIC_LEAD})
LEAD = frozenset({Role.CLINIC_LEAD})

PERMITS: dict[str, frozenset[Role]] = {
    "account.own": EVERYONE,
    "today.see": EVERYONE,
    "caseload.see": CLINICAL,
    "clients.find": EVERYONE,
    "clients.see": EVERYONE,
    "clients.register": EVERYONE,
    "clients.edit": EVERYONE,
    "clients.deactivate": EVERYONE,
    "referrers.see": EVERYONE,
    "referrers.edit": EVERYONE,
    "episodes.see": CLINICAL,
    "episodes.edit": CLINICAL,
    "precautions.edit": CLINICAL,
    "protocols.see": CLINICAL,
    "protocols.edit": LEAD,
    "girths.see": CLINICAL,
    "girths.enter": CLINICAL,
    "girths.strike": CLINICAL,
    "girths.import": CLINICAL,
    "findings.record": CLINICAL,
    "scores.see": CLINICAL,
    "scores.record": CLINICAL,
    "letters.see": CLINICAL,
    "letters.write": CLINICAL,
    "letters.approve": CLINICAL,
    "letters.send": EVERYONE,
    "letters.take_out": CLINICAL,
    "letters.run": CLINICAL,
    "schedule.see": EVERYONE,
    "schedule.book": EVERYONE,
    "schedule.manage": LEAD,
    "programmes.see": CLINICAL,
    "programmes.write": CLINICAL,
    "programmes.issue": CLINICAL,
    "programmes.withdraw": CLINICAL,
    "adherence.record": CLINICAL,
    "exercises.see": CLINICAL,
    "exercises.edit": LEAD,
    "garments.see": CLINICAL,
    "garments.edit": CLINICAL,
    "size_charts.edit": LEAD,
    "notes.see": CLINICAL,
    "notes.write": CLINICAL,
    "notes.sign": CLINICAL,
    "plans.see": CLINICAL,
    "plans.write": CLINICAL,
    "plans.sign": CLINICAL,
    "charting.manage": LEAD,
    "staff.manage": LEAD,
    "practice.edit": LEAD,
    "report.see": LEAD,
    "emergency.open": frozenset({Role.FRONT_DESK}),
    "emergency.review": LEAD,
    "audit.see": LEAD,
    "record.copy": CLINICAL,
    "keeping.see": LEAD,
    "keeping.manage": LEAD,
    "clients.merge": LEAD,
    "clients.export": LEAD,
    "erasures.see": CLINICAL,
    "erasures.ask": LEAD,
    "erasures.confirm": CLINICAL,
    "exchange.client": CLINICAL,
    "exchange.all": LEAD,
    "exchange.import": LEAD,
}

# Pages that a person sees before or while signing in or out.
OPEN_TO_ALL = "open to all"


def may(user: object, action: str) -> bool:
    """Whether a signed-in person's role is allowed the action. Raises KeyError if unknown."""
    return getattr(user, "role", None) in PERMITS[action]


def permit(action: str) -> Callable[[View], View]:
    """Let only the roles of `action` reach the view; others sign in first or get a refusal."""
    if action not in PERMITS:
        raise KeyError(action)

    def around(view: View) -> View:
        @wraps(view)
        def checked(request: HttpRequest, *args: object, **kwargs: object) -> HttpResponse:
            if not request.user.is_authenticated:
                return _sign_in_first(request)
            if request.user.must_choose_password and action != "account.own":
                return redirect("choose-password")
            if owes_second_factor(request) and action != "account.own":
                return redirect("second-factor")
            if not may(request.user, action):
                raise PermissionDenied
            return view(request, *args, **kwargs)

        checked.permit = action  # type: ignore[attr-defined]
        return checked

    return around


def owes_second_factor(request: HttpRequest) -> bool:
    """Whether this person's role needs a second factor and this sign-in had none.

    Who has set one up cannot sign in without it, so they have not, and do it now.
    """
    return bool(
        settings.SECOND_FACTOR_REQUIRED
        and request.user.is_clinical
        and not request.session.get("second_factor")
    )


def _sign_in_first(request: HttpRequest) -> HttpResponse:
    """A page goes to sign-in; a script is told plainly, so that what was typed stays on screen."""
    if request.headers.get("HX-Request"):
        return HttpResponse(status=401)
    return redirect_to_login(request.get_full_path())


def open_to_all(view: View) -> View:
    """Mark a view that needs no sign-in; the URL test accepts nothing unmarked."""
    view.permit = OPEN_TO_ALL  # type: ignore[attr-defined]
    return view
