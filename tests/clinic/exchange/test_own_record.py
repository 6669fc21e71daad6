"""The client's own copy of the record, and corrections asked for."""

from datetime import date, timedelta
from io import BytesIO

import pytest
from django.db import DatabaseError, transaction
from django.test import Client as Browser
from django.urls import reverse
from django.utils import timezone
from pypdf import PdfReader

from clinic.audit import services as audit
from clinic.audit.models import Entry
from clinic.clients.models import Client
from clinic.clients.periods import copy_due_on, correction_due_on
from clinic.clients.record_requests import CopyRequest, CorrectionRequest
from tests.builders import make_client, make_episode, make_referrer
from tests.cast import Cast

pytestmark = pytest.mark.django_db


def ask_copy(browser: Browser, person: Client, **differences: str) -> CopyRequest:
    asked = {"asked_on": "today", "asked_by": "the client", "identity": "photo card seen"}
    asked["asked_on"] = f"{timezone.localdate():%Y-%m-%d}"
    browser.post(reverse("copy-new", args=[person.pk]), asked | differences)
    return CopyRequest.objects.get()


def text_of(pdf: bytes) -> str:
    pages = (page.extract_text() for page in PdfReader(BytesIO(pdf)).pages)
    return " ".join(" ".join(pages).split())


def test_due_days_are_those_of_the_rule() -> None:
    # 45 CFR 164.526(b)(2): 60 days of the receipt of the request; 164.524(b)(2): 30, [memory] but
    # for a quotation of it.
    assert copy_due_on(date(2026, 1, 1)) == date(2026, 1, 31)
    assert correction_due_on(date(2026, 1, 1)) == date(2026, 3, 2)


def test_a_copy_is_asked_for_printed_and_handed_over(therapist: Browser, cast: Cast) -> None:
    person = make_client(phone="555 0101", referrer=make_referrer())
    make_episode(person, cast.therapist)
    audit.record(cast.front_desk, "client.opened", client=person)
    asked = ask_copy(therapist, person, with_accesses="on")
    pdf = therapist.post(reverse("copy-file", args=[asked.pk]))
    assert pdf["Content-Type"] == "application/pdf"
    said = text_of(pdf.content)
    for words in (
        "Marguerite Ångström",
        "4 March 1961",
        "555 0101",
        "Dr. Odile Farrow",
        "right arm",
    ):
        assert words in said
    assert "Dora Finch opened the client page" in said
    reader = PdfReader(BytesIO(pdf.content))
    assert reader.trailer["/Root"]["/MarkInfo"]["/Marked"]
    answered = {"closed_on": f"{timezone.localdate():%Y-%m-%d}", "handed_over": "hand"}
    page = therapist.post(reverse("copy", args=[asked.pk]), answered, follow=True).text
    assert "handed over by hand" in page
    verbs = list(
        Entry.objects.filter(subject=f"copyrequest:{asked.pk}").values_list("verb", flat=True)
    )
    assert verbs == ["copy.seen", "copy.handed_over", "copy.printed", "copy.asked"]


def test_without_asking_the_accesses_are_not_listed(therapist: Browser, cast: Cast) -> None:
    person = make_client()
    audit.record(cast.front_desk, "client.opened", client=person)
    asked = ask_copy(therapist, person)
    said = text_of(therapist.post(reverse("copy-file", args=[asked.pk])).content)
    assert "Marguerite Ångström" in said
    assert "Dora Finch" not in said


def test_refusing_a_copy_needs_a_reason(therapist: Browser) -> None:
    asked = ask_copy(therapist, make_client())
    typed = {"closed_on": "2 Mar 2020", "handed_over": "none", "refused_because": ""}
    page = therapist.post(reverse("copy", args=[asked.pk]), typed).text
    assert "Say why no copy is given." in page
    assert "2 Mar 2020" in page
    page = therapist.post(reverse("copy", args=[asked.pk]), typed | {"refused_because": "x"}).text
    assert "Choose that day or a later one." in page


def test_how_a_copy_was_handed_over_is_chosen_and_no_reason_is_lost(therapist: Browser) -> None:
    """An answer stays for good, so none is chosen beforehand, and nothing typed is dropped."""
    asked = ask_copy(therapist, make_client())
    answer = reverse("copy", args=[asked.pk])
    typed = {"closed_on": f"{timezone.localdate():%Y-%m-%d}", "handed_over": ""}
    assert '<option value="" selected>Choose</option>' in therapist.get(answer).text
    assert "This field is required." in therapist.post(answer, typed).text
    said = typed | {"handed_over": "hand", "refused_because": "Her sister has it."}
    page = therapist.post(answer, said).text
    assert "A copy is handed over: empty this" in page
    assert "Her sister has it." in page
    asked.refresh_from_db()
    assert asked.is_open


def test_a_day_to_come_is_refused_and_what_was_typed_stays(therapist: Browser) -> None:
    ahead = f"{timezone.localdate() + timedelta(days=3):%Y-%m-%d}"
    page = therapist.post(
        reverse("copy-new", args=[make_client().pk]),
        {"asked_on": ahead, "asked_by": "her sister", "identity": "photo card"},
    ).text
    assert "This day is still to come." in page
    assert "her sister" in page
    assert not CopyRequest.objects.exists()


def ask_correction(browser: Browser, person: Client) -> CorrectionRequest:
    typed = {
        "asked_on": f"{timezone.localdate() - timedelta(days=70):%Y-%m-%d}",
        "asked_by": "the client",
        "claimed_wrong": "The operation was on the left.",
        "wished": "Write left.",
    }
    browser.post(reverse("correction-new", args=[person.pk]), typed)
    return CorrectionRequest.objects.get()


def test_a_correction_is_asked_for_answered_and_printed(therapist: Browser, cast: Cast) -> None:
    asked = ask_correction(therapist, make_client())
    waiting = therapist.get(reverse("record-requests")).text
    assert "overdue" in waiting
    assert "Ångström" in waiting
    assert therapist.post(reverse("correction-file", args=[asked.pk])).status_code == 404
    answer = {
        "closed_on": f"{timezone.localdate():%Y-%m-%d}",
        "is_accepted": "refused",
        "answer": "The hospital's report says right.",
    }
    therapist.post(reverse("correction", args=[asked.pk]), answer)
    printed = text_of(therapist.post(reverse("correction-file", args=[asked.pk])).content)
    assert "The operation was on the left." in printed
    assert "We do not change the record" in printed
    assert "The hospital's report says right." in printed
    assert "Nobody waits." in therapist.get(reverse("record-requests")).text
    again = therapist.post(reverse("correction", args=[asked.pk]), answer | {"answer": "Other."})
    assert "Somebody has answered this meanwhile" in again.text


def test_an_answer_cannot_be_changed_even_by_sql(therapist: Browser, cast: Cast) -> None:
    asked = ask_correction(therapist, make_client())
    CorrectionRequest.objects.filter(pk=asked.pk).update(
        closed_on=timezone.localdate(), closed_by=cast.lead, is_accepted=True, answer="Done."
    )
    for change in (
        lambda: CorrectionRequest.objects.update(answer="Not done."),
        lambda: CorrectionRequest.objects.all()._raw_delete("default"),
    ):
        with pytest.raises(DatabaseError), transaction.atomic():
            change()


def test_the_desk_sees_none_of_it(desk: Browser, therapist: Browser) -> None:
    person = make_client()
    asked = ask_copy(therapist, person)
    correction = ask_correction(therapist, person)
    for name, key in (
        ("copy", asked.pk),
        ("copy-file", asked.pk),
        ("correction", correction.pk),
        ("correction-file", correction.pk),
        ("copy-new", person.pk),
        ("correction-new", person.pk),
    ):
        assert desk.post(reverse(name, args=[key])).status_code == 403
    assert desk.get(reverse("record-requests")).status_code == 403
    assert therapist.get(reverse("copy-file", args=[asked.pk])).status_code == 405
    assert therapist.put(reverse("copy", args=[asked.pk])).status_code == 405
