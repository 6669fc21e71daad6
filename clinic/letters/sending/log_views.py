"""The sent log, what follows from it, and e-mail agreed with a referrer."""

from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST

from clinic.accounts.permits import may, permit
from clinic.audit import services as audit
from clinic.clients.selectors import referrers
from clinic.common.errors import RuleBroken
from clinic.common.methods import look_or_send
from clinic.letters.sending import agreements, mail, selectors, services
from clinic.letters.sending.forms import AgreementForm, LogForm, ReasonForm
from clinic.letters.sending.models import Sending
from clinic.letters.sending.sentences import sentence
from clinic.letters.sending.ways import Way
from clinic.scheduling.selectors.reminders import mail_is_set_up

SECTION = {"section": "letters"}


@permit("letters.send")
@look_or_send
def sent(request: HttpRequest) -> HttpResponse:
    search = LogForm(request.POST).search()
    shown = {
        "search": search,
        "found": selectors.sent_log(request.user, search),
        "months": selectors.log_months(request.user),
        "ways": Way,
        "may_see": may(request.user, "letters.see"),
    }
    audit.record(request.user, "sent_log.seen")
    return render(request, "letters/sending/sent.html", shown | SECTION)


def _sending(request: HttpRequest, sending_id: UUID) -> Sending:
    return get_object_or_404(selectors.sendings_for(request.user), pk=sending_id)


@permit("letters.send")
@require_POST
def settle(request: HttpRequest, sending_id: UUID) -> HttpResponse:
    found = _sending(request, sending_id)
    try:
        mail.settle(sending=found, arrived="arrived" in request.POST, by=request.user)
        messages.success(request, "Kept.")
    except RuleBroken as error:
        messages.error(request, sentence(error))
    return redirect("letters-batch", found.batch_id)


@permit("letters.send")
@look_or_send
def again(request: HttpRequest, sending_id: UUID) -> HttpResponse:
    found = _sending(request, sending_id)
    form = ReasonForm(request.POST or None, back=reverse("letters-sent"))
    if form.is_valid():
        with form.catching(RuleBroken):
            made = services.resend(
                sending=found, reason=form.cleaned_data["reason"], by=request.user
            )
            return redirect("letters-batch", made.pk)
    shown = {"form": form, "sending": found, "letter": selectors.letter_of(found)}
    return render(request, "letters/sending/again.html", shown | SECTION)


@permit("referrers.edit")
@look_or_send
def mail_agreement(request: HttpRequest, referrer_id: UUID) -> HttpResponse:
    referrer = get_object_or_404(referrers(), pk=referrer_id)
    back = reverse("referrer-edit", args=[referrer.pk])
    form = AgreementForm(
        request.POST or None, back=back, initial={"agreed_on": timezone.localdate()}
    )
    if form.is_valid():
        with form.catching(RuleBroken):
            agreements.agree_to_mail(
                referrer=referrer,
                passphrase=form.cleaned_data["passphrase"],
                agreed_on=form.cleaned_data["agreed_on"],
                by=request.user,
            )
            messages.success(request, "The passphrase is kept. It is not shown again.")
            return redirect("mail-agreement", referrer.pk)
    shown = {
        "form": form,
        "referrer": referrer,
        "agreement": selectors.agreement_with(referrer),
        "mail_is_set_up": mail_is_set_up(),
        "section": "referrers",
    }
    return render(request, "letters/sending/mail_agreement.html", shown)


@permit("referrers.edit")
@require_POST
def end_mail_agreement(request: HttpRequest, referrer_id: UUID) -> HttpResponse:
    referrer = get_object_or_404(referrers(), pk=referrer_id)
    agreements.end_mail(referrer=referrer, by=request.user)
    messages.success(request, "Ended. The passphrase is wiped; letters go on paper.")
    return redirect("mail-agreement", referrer.pk)
