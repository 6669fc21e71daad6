"""Pages of the clinic lead: working hours, absences, closures, rooms, kinds."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from clinic.accounts.permits import permit
from clinic.clients.selectors import therapists
from clinic.common.errors import RuleBroken
from clinic.common.methods import look_or_send
from clinic.scheduling.forms.staff_time import (
    ClosureForm,
    HoursForm,
    KindForm,
    RoomForm,
    TimeOffForm,
)
from clinic.scheduling.ranges import zone
from clinic.scheduling.selectors import staff_time as selectors
from clinic.scheduling.services import staff_time as services

SECTION = {"section": "calendar"}


@permit("schedule.manage")
@require_safe
def overview(request: HttpRequest) -> HttpResponse:
    shown = {"staff_time": selectors.staff_time(timezone.localdate())}
    return render(request, "scheduling/staff_time.html", shown | SECTION)


@permit("schedule.manage")
@look_or_send
def working_hours(request: HttpRequest, user_id: int) -> HttpResponse:
    therapist = get_object_or_404(therapists(), pk=user_id)
    form = HoursForm(
        request.POST or None,
        hours=selectors.working_hours(therapist),
        rooms=selectors.rooms_to_choose(),
    )
    if form.is_valid():
        with form.catching(RuleBroken):
            services.set_working_hours(therapist=therapist, hours=form.hours(), by=request.user)
            messages.success(request, f"Working hours of {therapist} saved.")
            return redirect("staff-time")
    shown = {"form": form, "therapist": therapist}
    return render(request, "scheduling/working_hours.html", shown | SECTION)


@permit("schedule.manage")
@look_or_send
def add_time_off(request: HttpRequest) -> HttpResponse:
    form = TimeOffForm(request.POST or None, therapists=therapists())
    if form.is_valid():
        with form.catching(RuleBroken):
            fallen = services.add_time_off(
                therapist=form.cleaned_data["therapist"],
                starts_at=form.starts_at(zone()),
                ends_at=form.ends_at(zone()),
                reason=form.cleaned_data["reason"],
                by=request.user,
            )
            _tell_fallen(request, fallen)
            return redirect("staff-time")
    return _form_page(request, form, "Time off")


@permit("schedule.manage")
@require_POST
def remove_time_off(request: HttpRequest, off_id: int) -> HttpResponse:
    off = get_object_or_404(selectors.all_time_off(), pk=off_id)
    services.remove_time_off(off=off, by=request.user)
    messages.success(request, "Time off removed.")
    return redirect("staff-time")


@permit("schedule.manage")
@look_or_send
def add_closure(request: HttpRequest) -> HttpResponse:
    form = ClosureForm(request.POST or None)
    if form.is_valid():
        with form.catching(RuleBroken):
            services.save_closure(closure=form.instance, by=request.user)
            messages.success(request, "Closure saved.")
            return redirect("staff-time")
    return _form_page(request, form, "Clinic closed")


@permit("schedule.manage")
@require_POST
def remove_closure(request: HttpRequest, closure_id: int) -> HttpResponse:
    closure = get_object_or_404(selectors.every_closure(), pk=closure_id)
    services.remove_closure(closure=closure, by=request.user)
    messages.success(request, "Closure removed.")
    return redirect("staff-time")


@permit("schedule.manage")
@look_or_send
def edit_room(request: HttpRequest, room_id: int | None = None) -> HttpResponse:
    room = get_object_or_404(selectors.every_room(), pk=room_id) if room_id else None
    form = RoomForm(request.POST or None, instance=room)
    if form.is_valid():
        services.save_room(room=form.instance, by=request.user)
        messages.success(request, "Room saved.")
        return redirect("staff-time")
    return _form_page(request, form, "Room")


@permit("schedule.manage")
@look_or_send
def edit_kind(request: HttpRequest, kind_id: int | None = None) -> HttpResponse:
    kind = get_object_or_404(selectors.every_kind(), pk=kind_id) if kind_id else None
    form = KindForm(request.POST or None, instance=kind)
    if form.is_valid():
        services.save_kind(kind=form.instance, by=request.user)
        messages.success(request, "Kind of appointment saved.")
        return redirect("staff-time")
    return _form_page(request, form, "Kind of appointment")


def _form_page(request: HttpRequest, form: object, title: str) -> HttpResponse:
    shown = {"form": form, "title": title}
    return render(request, "scheduling/staff_time_form.html", shown | SECTION)


def _tell_fallen(request: HttpRequest, fallen: int) -> None:
    if not fallen:
        messages.success(request, "Time off saved.")
        return
    plural = "appointment falls" if fallen == 1 else "appointments fall"
    messages.warning(request, f"Time off saved. {fallen} booked {plural} into it: move them.")
