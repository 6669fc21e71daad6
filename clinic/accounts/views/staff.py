"""Staff accounts and the practice's own details."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST

from clinic.accounts import services
from clinic.accounts.forms import PracticeForm, StaffForm
from clinic.accounts.models import User
from clinic.accounts.permits import permit
from clinic.accounts.second_step import remove_second_factor
from clinic.accounts.selectors import access_shown, locked_names, practice_card, staff_list
from clinic.accounts.signing_in import stay_signed_in
from clinic.common.methods import look_or_send


@permit("staff.manage")
def staff(request: HttpRequest) -> HttpResponse:
    shown = {"people": staff_list(), "locked": locked_names(), "section": "practice"}
    return render(request, "accounts/staff.html", shown)


@permit("staff.manage")
def edit_staff(request: HttpRequest, user_id: int | None = None) -> HttpResponse:
    person = get_object_or_404(staff_list(), pk=user_id) if user_id else User()
    form = StaffForm(request.POST or None, instance=person)
    if form.is_valid():
        if user_id:
            with form.catching(ValidationError):
                services.save_staff(user=form.instance, by=request.user)
                messages.success(request, f"Saved {person}.")
                return redirect("staff")
        else:
            password = services.add_staff(user=form.instance, by=request.user)
            return _show_password(request, form.instance, password)
    shown = {"form": form, "person": person, "section": "practice"}
    if user_id:
        shown |= access_shown(person)
    return render(request, "accounts/staff_form.html", shown)


@permit("staff.manage")
@require_POST
def renew_password(request: HttpRequest, user_id: int) -> HttpResponse:
    person = get_object_or_404(staff_list(), pk=user_id)
    password = services.renew_one_time_password(user=person, by=request.user)
    if person == request.user:
        stay_signed_in(request, person)
    return _show_password(request, person, password)


@permit("staff.manage")
@require_POST
def unlock(request: HttpRequest, user_id: int) -> HttpResponse:
    person = get_object_or_404(staff_list(), pk=user_id)
    services.unlock(user=person, by=request.user)
    messages.success(request, f"{person} may try again at once.")
    return redirect("staff-edit", user_id)


@permit("staff.manage")
@require_POST
def end_sign_ins(request: HttpRequest, user_id: int) -> HttpResponse:
    person = get_object_or_404(staff_list(), pk=user_id)
    key = request.session.session_key if person == request.user else None
    services.end_sign_ins(user=person, by=request.user, but_key=key)
    messages.success(request, f"{person} is signed out everywhere{' else' if key else ''}.")
    return redirect("staff-edit", user_id)


@permit("staff.manage")
@look_or_send
def reset_second_factor(request: HttpRequest, user_id: int) -> HttpResponse:
    """A colleague's phone is lost: after asking once more, forget it."""
    person = get_object_or_404(staff_list().exclude(pk=request.user.pk), pk=user_id)
    if request.method == "POST":
        remove_second_factor(user=person, by=request.user)
        messages.success(request, f"Done. {person} signs in with the password and sets up anew.")
        return redirect("staff-edit", user_id)
    shown = {"person": person, "section": "practice"}
    return render(request, "accounts/second_factor_reset.html", shown)


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
