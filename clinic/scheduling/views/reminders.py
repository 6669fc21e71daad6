"""The reminder list, and how clients agreed to be reminded."""

import csv
from collections.abc import Iterable
from datetime import date, timedelta
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from clinic.accounts.permits import permit
from clinic.clients.selectors import clients_for
from clinic.common.csv_answers import csv_answer
from clinic.common.csv_files import harmless
from clinic.common.errors import RuleBroken
from clinic.common.methods import look_or_send
from clinic.scheduling.desk_sentences import sentence
from clinic.scheduling.forms.desk import ConsentForm, DayForm
from clinic.scheduling.selectors.reminders import (
    ReminderLine,
    consents_of,
    mail_is_set_up,
    next_booked_day,
    reminder_list,
)
from clinic.scheduling.services import reminders as services
from clinic.scheduling.words import ReminderChannel

SECTION = {"section": "day-sheet"}
COLUMNS = ("day", "time", "given_name", "family_name", "phone", "email", "agreed", "confirmed")


@permit("schedule.see")
@require_safe
def reminders(request: HttpRequest) -> HttpResponse:
    on = DayForm(request.GET).day(otherwise=_tomorrow())
    lines = reminder_list(request.user, on=on)
    shown = {
        "on": on,
        "lines": lines,
        "mailable": sum(line.may_be_mailed for line in lines),
        "mail_is_set_up": mail_is_set_up(),
        "earlier_on": on - timedelta(days=1),
        "later_on": on + timedelta(days=1),
        "booked_on": None if lines else next_booked_day(request.user, after=on),
    }
    return render(request, "scheduling/reminders.html", shown | SECTION)


@permit("schedule.see")
@require_safe
def reminders_file(request: HttpRequest) -> HttpResponse:
    on = DayForm(request.GET).day(otherwise=_tomorrow())
    response = csv_answer(f"reminders-{on}.csv")
    lines = reminder_list(request.user, on=on)
    services.note_list_taken_out(lines=lines, by=request.user)
    _write(response, lines)
    return response


@permit("schedule.book")
@require_POST
def send(request: HttpRequest) -> HttpResponse:
    on = DayForm(request.POST).day(otherwise=_tomorrow())
    try:
        sent = services.send_reminders(lines=reminder_list(request.user, on=on), by=request.user)
        messages.success(request, f"Reminders sent by e-mail: {sent}.")
    except RuleBroken as error:
        messages.error(request, sentence(error))
    except OSError:  # the mail server could not be reached or refused
        messages.error(request, "The mail server did not answer, so some reminders are not sent.")
    return redirect(f"{reverse('reminders')}?on={on}")


@permit("schedule.book")
@look_or_send
def consents(request: HttpRequest, client_id: UUID) -> HttpResponse:
    client = get_object_or_404(clients_for(request.user), pk=client_id)
    form = ConsentForm(request.POST or None)
    if form.is_valid():
        with form.catching(RuleBroken):
            channel = ReminderChannel(form.cleaned_data["channel"])
            services.agree_to_reminders(client=client, channel=channel, by=request.user)
            messages.success(request, "The client's word is kept.")
            return redirect("reminder-consents", client.pk)
    shown = {"client": client, "form": form, "consents": consents_of(client), "section": "clients"}
    return render(request, "scheduling/reminder_consents.html", shown)


@permit("schedule.book")
@require_POST
def withdraw(request: HttpRequest, client_id: UUID, consent_id: int) -> HttpResponse:
    client = get_object_or_404(clients_for(request.user), pk=client_id)
    consent = get_object_or_404(consents_of(client), pk=consent_id)
    services.withdraw_reminders(consent=consent, by=request.user)
    messages.success(request, "Kept: the client no longer agrees.")
    return redirect("reminder-consents", client.pk)


def _tomorrow() -> date:
    return timezone.localdate() + timedelta(days=1)


def _write(response: HttpResponse, lines: Iterable[ReminderLine]) -> None:
    rows = csv.writer(response)
    rows.writerow(COLUMNS)
    for line in lines:
        agreed = "; ".join(channel.label for channel in line.channels)
        cells = (line.given_name, line.family_name, line.phone, line.email, agreed)
        when = (f"{line.starts_at:%Y-%m-%d}", f"{line.starts_at:%H:%M}")
        rows.writerow([*when, *map(harmless, cells), "yes" if line.is_confirmed else "no"])
