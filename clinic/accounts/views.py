"""Sign-in, passwords, staff accounts and the practice's own details."""

from django.contrib import messages
from django.contrib.auth import login, update_session_auth_hash
from django.contrib.auth.views import LoginView, LogoutView
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST

from clinic.accounts import services
from clinic.accounts.forms import ChoosePasswordForm, PracticeForm, SignInForm, StaffForm
from clinic.accounts.models import User
from clinic.accounts.permits import open_to_all, permit
from clinic.accounts.selectors import practice_card, staff_list

sign_in = open_to_all(
    LoginView.as_view(
        template_name="accounts/sign_in.html",
        authentication_form=SignInForm,
        redirect_authenticated_user=True,
    )
)
sign_out = open_to_all(LogoutView.as_view())


@permit("account.own")
def choose_password(request: HttpRequest) -> HttpResponse:
    form = ChoosePasswordForm(request.POST or None)
    if form.is_valid():
        with form.catching(ValidationError):
            services.choose_password(user=request.user, password=form.cleaned_data["password"])
            update_session_auth_hash(request, request.user)
            messages.success(request, "Your new password is in use.")
            return redirect("today")
    return render(request, "accounts/choose_password.html", {"form": form})


@permit("staff.manage")
def staff(request: HttpRequest) -> HttpResponse:
    return render(request, "accounts/staff.html", {"people": staff_list(), "section": "practice"})


@permit("staff.manage")
def edit_staff(request: HttpRequest, user_id: int | None = None) -> HttpResponse:
    person = get_object_or_404(staff_list(), pk=user_id) if user_id else User()
    form = StaffForm(request.POST or None, instance=person)
    if form.is_valid():
        if user_id:
            services.save_staff(user=form.instance)
            messages.success(request, f"Saved {person}.")
            return redirect("staff")
        return _show_password(
            request, form.instance, services.renew_one_time_password(user=form.instance)
        )
    return render(
        request,
        "accounts/staff_form.html",
        {"form": form, "person": person, "section": "practice"},
    )


@permit("staff.manage")
@require_POST
def renew_password(request: HttpRequest, user_id: int) -> HttpResponse:
    person = get_object_or_404(staff_list(), pk=user_id)
    password = services.renew_one_time_password(user=person)
    if person == request.user:
        login(request, person)
    return _show_password(request, person, password)


def _show_password(request: HttpRequest, person: User, password: str) -> HttpResponse:
    return render(
        request,
        "accounts/one_time_password.html",
        {"person": person, "password": password, "section": "practice"},
    )


@permit("practice.edit")
def practice(request: HttpRequest) -> HttpResponse:
    form = PracticeForm(request.POST or None, instance=practice_card())
    if form.is_valid():
        services.save_practice(practice=form.instance)
        messages.success(request, "Saved. New letters carry these details.")
        return redirect("practice")
    return render(request, "accounts/practice.html", {"form": form, "section": "practice"})


@open_to_all
def form_too_old(request: HttpRequest, reason: str = "") -> HttpResponse:
    """The page a person sees when the form's token has expired: nothing was saved."""
    return render(request, "403_csrf.html", status=403)
