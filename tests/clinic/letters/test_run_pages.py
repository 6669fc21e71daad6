"""The pages of a month's run: they work, keep what was typed, and show each person own letters."""

import re

import pytest
from django.test import Client as Browser
from django.urls import reverse

from clinic.audit.models import Entry
from clinic.letters import services as letters
from clinic.letters.models import LetterRun, RunLetter
from clinic.letters.runs import compiling, selectors, services
from clinic.letters.runs.words import Failure, RowState
from tests.builders import make_referrer
from tests.cast import Cast
from tests.clinic.letters.months import MONTH, compiled_run, month_of, row_of, seen_in_month

HTMX = {"HX-Request": "true"}
TYPED = {
    "bottom_line": "Better: my own words.",
    "treatment": "Bandaging on ten days.",
    "adherence": "Daily.",
    "plan": "Garments next.",
    "request": "Nothing at present.",
}


@pytest.fixture(autouse=True)
def _quick_print(monkeypatch: pytest.MonkeyPatch) -> None:
    for module in (letters, compiling):
        monkeypatch.setattr(module, "letter_pdf", lambda sheet: b"%PDF quick")


@pytest.fixture
def run(cast: Cast) -> LetterRun:
    """Three letters to review: two of the therapist, one of a colleague."""
    referrer = make_referrer()
    month_of(2, cast.therapist, referrer)
    seen_in_month(cast.other_therapist, referrer)
    return compiled_run(cast.lead)


def own_rows(run: LetterRun, cast: Cast) -> list[RunLetter]:
    return list(run.rows.filter(episode__therapist=cast.therapist).order_by("pk"))


def page_of(browser: Browser, row: RunLetter) -> str:
    return browser.get(reverse("run-letter", args=[row.pk])).content.decode()


def form_of(page: str, **differences: str) -> dict[str, str]:
    """What the page would send: its hidden fields and its texts."""
    hidden = dict(
        re.findall(r'type="hidden" name="(edited_at|digest)" id="\w+" value="([^"]*)"', page)
    )
    texts = dict(re.findall(r'<textarea name="(\w+)"[^>]*>\s*(.*?)</textarea>', page, re.S))
    assert set(hidden) == {"edited_at", "digest"}, page
    return hidden | texts | {"note": ""} | differences


def send(browser: Browser, row: RunLetter, form: dict[str, str], **more: str):
    return browser.post(reverse("run-letter", args=[row.pk]), form, headers=more)


def test_a_month_is_chosen_and_compiled(lead: Browser, cast: Cast) -> None:
    seen_in_month(cast.therapist, make_referrer())
    chosen = lead.post(reverse("letter-runs"), {"month": MONTH.isoformat()})
    run = LetterRun.objects.get()
    assert chosen.url == reverse("letter-run", args=[run.pk])
    page = lead.get(chosen.url).content.decode()
    assert "0 of 1 letters compiled" in page
    assert "Nothing is compiling at present" in page  # no worker runs in this test
    assert 'hx-trigger="every 1s"' in page
    assert f"{MONTH:%B %Y}" in lead.get(reverse("letter-runs")).content.decode()


@pytest.mark.parametrize("month", ["", "yesterday", "2999-01-01"])
def test_a_month_that_cannot_be_is_refused_beside_its_field(lead: Browser, month: str) -> None:
    answer = lead.post(reverse("letter-runs"), {"month": month})
    assert answer.status_code == 200
    assert 'id="month-error"' in answer.content.decode()
    assert not LetterRun.objects.exists()


def test_the_bar_moves_and_then_the_page_comes_again(lead: Browser, cast: Cast) -> None:
    month_of(2, cast.therapist, make_referrer())
    run = services.start_run(month=MONTH, by=cast.lead)
    address = reverse("letter-run-progress", args=[run.pk])
    first, second = run.rows.all()
    compiling.compile_row(row_id=first.pk)
    moving = lead.get(address, headers=HTMX)
    assert 'value="1"' in moving.content.decode()
    compiling.compile_row(row_id=second.pk)
    assert lead.get(address, headers=HTMX).headers["HX-Refresh"] == "true"
    assert lead.get(address).url == reverse("letter-run", args=[run.pk])


def test_a_therapist_sees_own_letters_and_the_lead_all(
    therapist: Browser, lead: Browser, run: LetterRun, cast: Cast
) -> None:
    foreign = run.rows.get(episode__therapist=cast.other_therapist)
    assert "3 owed" in lead.get(reverse("letter-run", args=[run.pk])).content.decode()
    assert "2 owed" in therapist.get(reverse("letter-run", args=[run.pk])).content.decode()
    for name in ("run-letter", "run-letter-back"):
        assert therapist.post(reverse(name, args=[foreign.pk])).status_code == 404
    assert lead.get(reverse("run-letter", args=[foreign.pk])).status_code == 200


def test_the_list_says_what_each_letter_says(
    therapist: Browser, run: LetterRun, cast: Cast
) -> None:
    page = therapist.get(reverse("letter-run", args=[run.pk])).content.decode()
    for row in own_rows(run, cast):
        assert row.letter.bottom_line in page
    typed = send(therapist, row, form_of(page_of(therapist, row), **TYPED, act="save"))
    assert typed.status_code == 302
    page = therapist.get(reverse("letter-run", args=[run.pk])).content.decode()
    assert TYPED["bottom_line"] in page


def test_the_front_desk_sees_none(desk: Browser, run: LetterRun) -> None:
    assert desk.get(reverse("letter-runs")).status_code == 403
    assert desk.get(reverse("run-letter", args=[run.rows.first().pk])).status_code == 403


def test_approving_goes_to_the_next_and_counts_what_is_left(
    therapist: Browser, run: LetterRun, cast: Cast
) -> None:
    first_address = therapist.get(reverse("letter-run-review", args=[run.pk])).url
    first = run.rows.get(pk=first_address.split("/")[-2])
    page = page_of(therapist, first)
    assert "1 of 2" in page
    assert "2 to review" in page
    answer = send(therapist, first, form_of(page, act="approve"))
    follows = run.rows.get(pk=answer.url.split("/")[-2])
    assert follows != first
    assert row_of(run, first.episode).letter.approved_by == cast.therapist
    assert "1 of 1" in page_of(therapist, follows)
    last = send(therapist, follows, form_of(page_of(therapist, follows), act="approve"))
    assert last.url == reverse("letter-run", args=[run.pk])


def test_what_was_typed_is_looked_at_as_printed_before_it_is_approved(
    therapist: Browser, run: LetterRun, cast: Cast
) -> None:
    row = own_rows(run, cast)[0]
    typed = form_of(page_of(therapist, row), **TYPED, act="approve")
    answer = send(therapist, row, typed).content.decode()
    assert "Not approved yet" in answer
    assert answer.count("Better: my own words.") >= 2  # in the form and in the letter beside it
    assert not row_of(run, row.episode).letter.is_approved
    send(therapist, row, form_of(answer, act="approve"))
    assert row_of(run, row.episode).letter.is_approved
    assert row_of(run, row.episode).letter.bottom_line == "Better: my own words."


def test_without_what_was_seen_nothing_is_approved(
    therapist: Browser, run: LetterRun, cast: Cast
) -> None:
    row = own_rows(run, cast)[0]
    form = form_of(page_of(therapist, row), act="approve", digest="")
    assert "Not approved yet" in send(therapist, row, form).content.decode()
    assert not row_of(run, row.episode).letter.is_approved


def test_an_autosave_keeps_the_text_and_shows_the_letter_again(
    therapist: Browser, run: LetterRun, cast: Cast
) -> None:
    row = own_rows(run, cast)[0]
    form = form_of(page_of(therapist, row), **TYPED)
    answer = send(therapist, row, form, **HTMX).content.decode()
    assert "Better: my own words." in answer
    assert 'id="id_digest"' in answer
    assert row_of(run, row.episode).letter.bottom_line == "Better: my own words."
    emptied = send(therapist, row, form | {"bottom_line": ""}, **HTMX)
    assert emptied.status_code == 422


def test_an_error_stands_beside_its_field_and_keeps_what_was_typed(
    therapist: Browser, run: LetterRun, cast: Cast
) -> None:
    row = own_rows(run, cast)[0]
    form = form_of(page_of(therapist, row), **TYPED, act="skip")
    answer = send(therapist, row, form).content.decode()
    assert "Say why no letter goes out this month." in answer
    assert "Bandaging on ten days." in answer
    emptied = send(therapist, row, form | {"bottom_line": "", "act": "approve"}).content.decode()
    assert "This field is required." in emptied
    assert "Bandaging on ten days." in emptied


def test_hold_and_skip_go_on_and_can_be_taken_back(
    therapist: Browser, run: LetterRun, cast: Cast
) -> None:
    held, skipped = own_rows(run, cast)
    send(therapist, held, form_of(page_of(therapist, held), act="hold", note="Ask the surgeon"))
    assert "Ask the surgeon" in page_of(therapist, held)
    send(therapist, skipped, form_of(page_of(therapist, skipped), act="skip", note="Phoned"))
    listed = therapist.get(reverse("letter-run", args=[run.pk]), {"show": "skipped"})
    assert "Phoned" in listed.content.decode()
    assert "Put it back" in page_of(therapist, skipped)
    for row in (held, skipped):
        therapist.post(reverse("run-letter-back", args=[row.pk]))
    states = [row_of(run, row.episode).state for row in (held, skipped)]
    assert states == [RowState.COMPILED, RowState.OWED]


def test_two_people_cannot_both_decide(therapist: Browser, run: LetterRun, cast: Cast) -> None:
    row = own_rows(run, cast)[0]
    form = form_of(page_of(therapist, row), act="approve")
    services.skip_row(row=row, note="Lead skipped it", by=cast.lead)
    answer = therapist.post(reverse("run-letter", args=[row.pk]), form)
    assert "Lead skipped it" in answer.content.decode()
    assert row_of(run, row.episode).state == RowState.SKIPPED


def test_each_letter_looked_at_is_logged_once(
    therapist: Browser, run: LetterRun, cast: Cast
) -> None:
    page_of(therapist, own_rows(run, cast)[0])
    assert Entry.objects.filter(verb="letter.seen", by=cast.therapist).count() == 1


def test_a_look_at_the_months_letters_is_noted_once_and_its_bar_never(
    therapist: Browser, run: LetterRun, cast: Cast
) -> None:
    therapist.get(reverse("letter-run", args=[run.pk]))
    therapist.get(reverse("letter-run-progress", args=[run.pk]), headers=HTMX)
    entry = Entry.objects.get(verb="letter_run.seen")
    assert (entry.by, entry.client) == (cast.therapist, None)
    assert not Entry.objects.filter(by=cast.therapist).exclude(pk=entry.pk).exists()


def test_a_look_at_why_there_is_no_letter_is_noted_for_its_client(
    therapist: Browser, run: LetterRun, cast: Cast
) -> None:
    row = own_rows(run, cast)[0]
    services.skip_row(row=row, note="Phoned", by=cast.lead)
    assert "Phoned" in page_of(therapist, row)
    (entry,) = Entry.objects.filter(by=cast.therapist)
    assert (entry.verb, entry.client) == ("run_letter.seen", row.episode.client)


@pytest.mark.parametrize("name", ["letter-run-repeat", "run-letter-back"])
def test_what_changes_something_answers_to_no_look(
    lead: Browser, run: LetterRun, name: str
) -> None:
    number = run.pk if name == "letter-run-repeat" else run.rows.first().pk
    assert lead.get(reverse(name, args=[number])).status_code == 405


def test_letters_that_were_not_compiled_are_counted_wherever_the_others_are(
    lead: Browser, therapist: Browser, run: LetterRun, cast: Cast
) -> None:
    failed, other = own_rows(run, cast)[:2]
    letters.discard_letter(letter=failed.letter, by=cast.lead)
    RunLetter.objects.filter(pk=failed.pk).update(
        state=RowState.FAILED, failure=Failure.RULE, failure_said="Nobody to write to.", note=""
    )
    pages = [
        lead.get(reverse("letter-runs")).content.decode(),
        lead.get(reverse("letter-run", args=[run.pk])).content.decode(),
        page_of(therapist, other),
    ]
    assert all("1 not compiled" in page for page in pages)


def test_the_next_page_is_one_of_the_same_list(
    lead: Browser, run: LetterRun, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(selectors, "PAGE_LENGTH", 2)
    page = lead.get(reverse("letter-run", args=[run.pk])).text
    assert '<a href="?show=to_review&amp;page=2" rel="next">Next page</a>' in page


def test_a_repeat_says_what_it_did(lead: Browser, run: LetterRun) -> None:
    answer = lead.post(reverse("letter-run-repeat", args=[run.pk]), follow=True)
    assert "stay as they are" in answer.content.decode()
    assert run.rows.count() == 3


def test_every_list_opens_even_empty(lead: Browser, run: LetterRun) -> None:
    for shown in ("to_review", "held", "approved", "skipped", "failed", "waiting", "not_owed", "x"):
        answer = lead.get(reverse("letter-run", args=[run.pk]), {"show": shown, "page": "x"})
        assert answer.status_code == 200
