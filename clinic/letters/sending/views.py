"""Pages that send approved letters: the list, and a batch on its way."""

from collections.abc import Callable
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from clinic.accounts.permits import may, permit
from clinic.audit import services as audit
from clinic.clients.models import Delivery
from clinic.common.errors import RuleBroken
from clinic.common.methods import look_or_send
from clinic.letters.sending import batch_pdf as printing
from clinic.letters.sending import mail, selectors, services
from clinic.letters.sending.forms import OutcomeForm, PickForm, WantedForm
from clinic.letters.sending.models import Batch, Sending
from clinic.letters.sending.selectors import LetterToSend, Mailing
from clinic.letters.sending.sentences import sentence
from clinic.letters.sending.ways import Output, State
from clinic.letters.sending.zip_file import batch_zip as zipped
from clinic.scheduling.selectors.reminders import mail_is_set_up

SECTION = {"section": "letters"}


@permit("letters.send")
@look_or_send
def to_send(request: HttpRequest) -> HttpResponse:
    wanted = WantedForm(request.GET).wanted()
    found = selectors.letters_to_send(request.user, wanted)
    paper = _picking(request, "paper", [row for row in found.letters if not row.may_be_mailed])
    by_mail = _picking(request, "mail", [row for row in found.letters if row.may_be_mailed])
    for form in (paper, by_mail):
        if form.is_bound and form.is_valid():
            with form.catching(RuleBroken):
                return _taken(request, form)
    if request.method != "POST":
        audit.record(request.user, "letters_to_send.seen")
    shown = {
        "found": found,
        "wanted": wanted,
        "paper": paper,
        "by_mail": by_mail,
        "open_batches": selectors.open_batches(request.user),
        "deliveries": Delivery,
        "may_take_out": may(request.user, "letters.take_out"),
        "mail_is_set_up": mail_is_set_up(),
    }
    return render(request, "letters/sending/to_send.html", shown | SECTION)


def _picking(request: HttpRequest, part: str, rows: list[LetterToSend]) -> PickForm:
    """The form of one part of the list; bound only when that part was sent."""
    outputs = [Output.PRINT, Output.NOTED]
    outputs += [Output.ZIP] if may(request.user, "letters.take_out") else []
    outputs += [Output.MAIL] if part == "mail" else []
    before = selectors.last_print() if request.method != "POST" else None
    initial = {name: getattr(before, name, False) for name in ("two_sided", "address_sheets")}
    return PickForm(
        request.POST if request.POST.get("part") == part else None,
        rows=rows,
        outputs=outputs,
        initial=initial,
    )


def _taken(request: HttpRequest, form: PickForm) -> HttpResponse:
    chosen = form.chosen()
    made = services.make_batch(chosen=chosen, by=request.user)
    left_alone = len(chosen.letter_ids) - made.sendings.count()
    if left_alone:
        messages.info(request, f"Left alone, because they are on their way or gone: {left_alone}.")
    if made.output == Output.NOTED:
        messages.success(request, f"Noted for {made.sendings.count()}.")
        return redirect("letters-to-send")
    return redirect("letters-batch", made.pk)


def _batch(request: HttpRequest, batch_id: UUID) -> Batch:
    return get_object_or_404(selectors.batches_for(request.user), pk=batch_id)


@permit("letters.send")
@look_or_send
def batch(request: HttpRequest, batch_id: UUID) -> HttpResponse:
    found = _batch(request, batch_id)
    form = OutcomeForm(request.POST or None)
    if form.is_valid():
        with form.catching(RuleBroken):
            return _told(request, found, form)
    rows = selectors.sendings_of(found, request.user)
    mailing = selectors.mailing_of(found, rows)
    if request.htmx:
        return _mailing(request, found, mailing)
    if request.method != "POST":
        audit.record(request.user, "letter_batch.seen", subject=found)
    shown = {
        "batch": found,
        "form": form,
        "rows": rows,
        "mailing": mailing,
        "ticked": set(map(str, form.data.getlist("sendings"))) if form.is_bound else set(),
        "waiting": [row for row in rows if row.state is State.WAITING],
        "unsure": [] if mailing.is_going_on else [row for row in rows if row.state is State.UNSURE],
        "may_put_back": any(map(_may_go_back, rows)),
        "may_take_out": may(request.user, "letters.take_out"),
    }
    return render(request, "letters/sending/batch.html", shown | SECTION)


def _mailing(request: HttpRequest, batch: Batch, mailing: Mailing) -> HttpResponse:
    """The bar alone; once nothing is under way any more, the whole page again."""
    if not mailing.is_under_way:
        return HttpResponse(headers={"HX-Refresh": "true"})
    return render(request, "letters/sending/_mailing.html", {"batch": batch, "mailing": mailing})


def _may_go_back(row: Sending) -> bool:
    return services.is_standing(row) and services.may_be_put_back(row)


def _told(request: HttpRequest, batch: Batch, form: OutcomeForm) -> HttpResponse:
    """What the person says became of the ticked letters, or of all that wait."""
    ids, by = set(form.cleaned_data["sendings"]), request.user
    if "all" in request.POST:
        ids = {row.pk for row in selectors.sendings_of(batch, by) if row.state is State.WAITING}
    if "put_back" in request.POST:
        reason = form.cleaned_data["reason"]
        count = services.put_back(batch=batch, sending_ids=ids, reason=reason, by=by)
        messages.success(request, f"Back on the list: {count}.")
    else:
        count = services.confirm_sent(batch=batch, sending_ids=ids, by=by)
        messages.success(request, f"Confirmed as sent: {count}. Undo is possible today.")
    return redirect("letters-batch", batch.pk)


@permit("letters.send")
@require_safe
def batch_pdf(request: HttpRequest, batch_id: UUID) -> HttpResponse:
    return _file(request, batch_id, Output.PRINT, _printed)


@permit("letters.take_out")
@require_safe
def batch_zip(request: HttpRequest, batch_id: UUID) -> HttpResponse:
    return _file(request, batch_id, Output.ZIP, _zipped)


Making = Callable[[Batch, list[Sending]], HttpResponse]


def _file(request: HttpRequest, batch_id: UUID, output: Output, make: Making) -> HttpResponse:
    """What of the batch still stands, as a file; each look noted for each client."""
    found = get_object_or_404(selectors.batches_for(request.user), pk=batch_id, output=output)
    rows = [row for row in selectors.sendings_of(found, request.user) if services.is_standing(row)]
    if not rows:
        messages.error(request, "Every letter of this batch was put back on the list.")
        return redirect("letters-batch", found.pk)
    try:
        made = make(found, rows)
    except RuleBroken as error:
        messages.error(request, sentence(error))
        return redirect("letters-batch", found.pk)
    services.record_taking_out(sendings=rows, by=request.user)
    return made


def _printed(batch: Batch, rows: list[Sending]) -> HttpResponse:
    content = printing.batch_pdf(batch, rows, selectors.bytes_of_letters(rows))
    return _answer(content, "application/pdf", f'inline; filename="{_name(batch)}.pdf"')


def _zipped(batch: Batch, rows: list[Sending]) -> HttpResponse:
    content = zipped(rows, selectors.bytes_of_letters(rows))
    return _answer(content, "application/zip", f'attachment; filename="{_name(batch)}.zip"')


def _name(batch: Batch) -> str:
    return f"letters-{timezone.localdate(batch.made_at):%Y-%m-%d}-{batch.pk.hex[:8]}"


def _answer(content: bytes, kind: str, disposition: str) -> HttpResponse:
    return HttpResponse(content, content_type=kind, headers={"Content-Disposition": disposition})


@permit("letters.send")
@require_POST
def batch_mail(request: HttpRequest, batch_id: UUID) -> HttpResponse:
    found = _batch(request, batch_id)
    try:
        mail.ask_for_mails(batch=found, by=request.user)
    except RuleBroken as error:
        messages.error(request, sentence(error))
    return redirect("letters-batch", found.pk)
