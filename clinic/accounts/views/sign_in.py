"""Signing in and out."""

from itertools import chain

from django.contrib.auth.views import LogoutView
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.middleware.csrf import get_token
from django.shortcuts import redirect, render
from django.views.decorators.debug import sensitive_post_parameters

from clinic.accounts import signing_in
from clinic.accounts.forms import CodeForm, SignInForm
from clinic.accounts.idle import KEPT
from clinic.accounts.permits import open_to_all, permit
from clinic.accounts.second_step import use_code
from clinic.common.failing import Typed
from clinic.common.methods import look_or_send

sign_out = open_to_all(LogoutView.as_view())


@open_to_all
@sensitive_post_parameters("password")
@look_or_send
def sign_in(request: HttpRequest) -> HttpResponse:
    if request.user.is_authenticated:
        return redirect("today")
    form = SignInForm(request, request.POST if request.method == "POST" else None)
    if form.is_valid():
        wanted = signing_in.Wanted.by(request)
        return redirect(signing_in.password_given(request, form.get_user(), wanted))
    return render(request, "accounts/sign_in.html", {"form": form})


@open_to_all
@look_or_send
def sign_in_code(request: HttpRequest) -> HttpResponse:
    person = signing_in.awaited_person(request)
    if person is None:
        return redirect("sign-in")
    form = CodeForm(request.POST if request.method == "POST" else None)
    if form.is_valid():
        answer = use_code(user=person, code=form.cleaned_data["code"])
        if answer.is_right:
            return redirect(signing_in.code_given(request, person))
        form.refuse(answer)
    return render(request, "accounts/sign_in_code.html", {"form": form, "person": person})


@open_to_all
@look_or_send
def sign_in_again(request: HttpRequest) -> HttpResponse:
    """For the page's script: how long until sign-out; and signing in without leaving the page."""
    if request.method != "POST":
        return JsonResponse(_standing(request))
    if "code" in request.POST:
        return JsonResponse(_code_again(request))
    form = SignInForm(request, request.POST)
    if not form.is_valid():
        said = " ".join(chain.from_iterable(form.errors.values()))
        return JsonResponse({"state": "no", "said": said})
    signing_in.password_given(request, form.get_user(), signing_in.Wanted(""))
    return JsonResponse(_standing(request))


def _code_again(request: HttpRequest) -> dict[str, object]:
    person = signing_in.awaited_person(request)
    if person is None:
        return {"state": "out", "said": "That took too long. Type the password once more."}
    form = CodeForm(request.POST)
    if form.is_valid():
        answer = use_code(user=person, code=form.cleaned_data["code"])
        if answer.is_right:
            signing_in.code_given(request, person)
            return _standing(request)
        form.refuse(answer)
    return {"state": "code", "said": " ".join(form.errors["code"])}


def _standing(request: HttpRequest) -> dict[str, object]:
    """Whether somebody is signed in here, who, and for how long without input."""
    person = request.user
    state = "code" if signing_in.awaited_person(request) else "out"
    return {
        "state": "in" if person.is_authenticated else state,
        "person": person.pk,
        "left_s": request.session.left.total_seconds(),
        "token": get_token(request),
    }


@permit("account.own")
def still_here(request: HttpRequest) -> HttpResponse:
    """A page says that its person typed or pointed; being asked is enough."""
    return HttpResponse(status=204)


@permit("account.own")
def kept_form(request: HttpRequest) -> HttpResponse:
    """What a person sent after their time was up: shown to them, to be sent again."""
    kept = request.session.pop(KEPT, None)
    if kept is None:
        return redirect("today")
    typed = [Typed(name, value) for name, value in kept["pairs"]]
    shown = {
        "typed": typed,
        "action": kept["action"],
        "has_files": kept["has_files"],
        "token": get_token(request),
    }
    return render(request, "accounts/kept_form.html", shown)


@open_to_all
def form_too_old(request: HttpRequest, reason: str = "") -> HttpResponse:
    """The page a person sees when the form's token has expired: nothing was saved."""
    return render(request, "403_csrf.html", status=403)
