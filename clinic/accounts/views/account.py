"""One's own account: password, second step, where one is signed in."""

from django.contrib import messages
from django.contrib.auth import update_session_auth_hash
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_POST

from clinic.accounts import second_step, services
from clinic.accounts.forms import ChoosePasswordForm, OwnPassword, SetUpForm
from clinic.accounts.permits import owes_second_factor, permit
from clinic.accounts.qr import qr_picture
from clinic.accounts.selectors import access_shown, second_factor_of
from clinic.accounts.signing_in import SECOND_FACTOR
from clinic.common.methods import look_or_send

# The secret of an app that is being set up; kept for good only once a code proved it.
SET_UP = "app_to_set_up"


@permit("account.own")
def account(request: HttpRequest) -> HttpResponse:
    shown = access_shown(request.user, this_key=request.session.session_key)
    shown["is_required"] = second_step.is_required_of(request.user)
    return render(request, "accounts/account.html", shown)


@permit("account.own")
@sensitive_post_parameters("password_now", "password", "again")
@look_or_send
def choose_password(request: HttpRequest) -> HttpResponse:
    form = ChoosePasswordForm(request.POST or None, request=request)
    if form.is_valid():
        with form.catching(ValidationError):
            services.choose_password(
                user=request.user,
                password=form.cleaned_data["password"],
                session_key=request.session.session_key,
            )
            update_session_auth_hash(request, request.user)
            messages.success(request, "Your new password is in use.")
            return redirect("today")
    return render(request, "accounts/choose_password.html", {"form": form})


@permit("account.own")
@sensitive_post_parameters("password_now", "code")
@look_or_send
def second_factor(request: HttpRequest) -> HttpResponse:
    """Set up an authenticator app: read the square, type one code, keep the recovery codes."""
    person, present = request.user, second_factor_of(request.user)
    secret = request.session.setdefault(SET_UP, second_step.new_secret())
    form = SetUpForm(request.POST or None, request=request, is_first=present is None)
    if form.is_valid():
        with form.catching(second_step.CodeDoesNotFit):
            codes = second_step.set_up(
                user=person,
                secret_sealed=secret,
                code=form.cleaned_data["code"],
                session_key=request.session.session_key,
            )
            del request.session[SET_UP]
            request.session[SECOND_FACTOR] = True
            return _show_codes(request, codes)
    shown = {
        "form": form,
        "present": present,
        "secret": second_step.secret_words(secret),
        "picture": qr_picture(second_step.app_address(person, secret)),
        "is_owed": owes_second_factor(request),
    }
    return render(request, "accounts/second_factor.html", shown)


@permit("account.own")
@look_or_send
def recovery_codes(request: HttpRequest) -> HttpResponse:
    form = OwnPassword(request.POST or None, request=request, save="Make new codes")
    if second_factor_of(request.user) is None:
        return redirect("account")
    if form.is_valid():
        return _show_codes(request, second_step.renew_recovery_codes(user=request.user))
    return render(request, "accounts/recovery_codes_new.html", {"form": form})


def _show_codes(request: HttpRequest, codes: list[str]) -> HttpResponse:
    return render(request, "accounts/recovery_codes.html", {"codes": codes})


@permit("account.own")
@look_or_send
def second_factor_off(request: HttpRequest) -> HttpResponse:
    form = OwnPassword(request.POST or None, request=request, save="Turn it off")
    if second_step.is_required_of(request.user) or second_factor_of(request.user) is None:
        return redirect("account")
    if form.is_valid():
        second_step.remove_second_factor(user=request.user, by=request.user)
        request.session.pop(SECOND_FACTOR, None)
        messages.success(request, "Only the password is asked from now on.")
        return redirect("choose-password")
    return render(request, "accounts/second_factor_off.html", {"form": form})


@permit("account.own")
@require_POST
def end_sign_in(request: HttpRequest, mark: str) -> HttpResponse:
    ended = services.end_sign_in(user=request.user, mark=mark, by=request.user)
    messages.success(request, "Signed out there." if ended else "That sign-in had ended already.")
    return redirect("account")


@permit("account.own")
@require_POST
def end_other_sign_ins(request: HttpRequest) -> HttpResponse:
    key = request.session.session_key
    services.end_sign_ins(user=request.user, by=request.user, but_key=key)
    messages.success(request, "You are signed in nowhere else now.")
    return redirect("account")
