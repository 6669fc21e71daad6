"""The letter's pages: they work, refuse a wrong method or person, and keep what was typed."""

import re

import pytest
from django.test import Client as Browser
from django.urls import reverse

from clinic.audit.selectors import history_of
from clinic.clients.models import Episode
from clinic.common import print as press
from clinic.common.print import NotPrinted, PrintFault
from clinic.letters import services, views
from clinic.letters.models import ProgressLetter
from tests.builders import today
from tests.cast import Cast
from tests.clinic.letters.stories import arm_episode, better, days_ago, much_treated

TYPED = {
    "bottom_line": "Better: my own words.",
    "treatment": "Bandaging on ten days.",
    "adherence": "Daily.",
    "plan": "Garments next.",
    "request": "Please sign the garment order.",
}


@pytest.fixture
def episode(cast: Cast) -> Episode:
    return better(cast.therapist)


@pytest.fixture
def letter(episode: Episode, cast: Cast) -> ProgressLetter:
    return services.compile_letter(
        episode=episode, period_from=days_ago(90), period_to=today(), by=cast.therapist
    )


@pytest.fixture
def _quick_print(monkeypatch: pytest.MonkeyPatch) -> None:
    for module in (services, views):
        monkeypatch.setattr(module, "letter_pdf", lambda sheet: b"%PDF quick")


def typed(letter: ProgressLetter, **differences: str) -> dict[str, str]:
    return TYPED | {"edited_at": letter.edited_at.isoformat()} | differences


def approve(browser: Browser, letter: ProgressLetter) -> None:
    page = browser.get(reverse("letter-approve", args=[letter.pk])).content.decode()
    digest = re.search(r'name="digest" value="([0-9a-f]{64})"', page)
    assert digest, page
    browser.post(reverse("letter-approve", args=[letter.pk]), {"digest": digest[1]})


def test_the_list_shows_drafts_and_sent_letters(therapist: Browser, letter: ProgressLetter) -> None:
    page = therapist.get(reverse("letters", args=[letter.episode_id])).content.decode()
    assert "draft" in page
    assert letter.bottom_line[:40] in page


def test_a_letter_is_compiled_for_the_period_since_the_opening(
    therapist: Browser, episode: Episode
) -> None:
    address = reverse("letter-new", args=[episode.pk])
    page = therapist.get(address).content.decode()
    assert f'value="{episode.opened_on:%Y-%m-%d}"' in page
    assert f'value="{today():%Y-%m-%d}"' in page
    sent = therapist.post(
        address, {"period_from": f"{episode.opened_on}", "period_to": f"{today()}"}
    )
    assert sent.url == reverse("letter", args=[ProgressLetter.objects.get().pk])


def test_a_bad_period_keeps_what_was_typed_and_says_why(
    therapist: Browser, episode: Episode
) -> None:
    page = therapist.post(
        reverse("letter-new", args=[episode.pk]),
        {"period_from": f"{days_ago(2)}", "period_to": f"{days_ago(9)}"},
    ).content.decode()
    assert "The period ends before it begins" in page
    assert f'value="{days_ago(9)}"' in page
    assert not ProgressLetter.objects.exists()


def test_an_episode_without_girths_says_what_to_do(therapist: Browser, cast: Cast) -> None:
    bare = arm_episode(cast.therapist)
    page = therapist.post(
        reverse("letter-new", args=[bare.pk]),
        {"period_from": f"{days_ago(9)}", "period_to": f"{today()}"},
    ).content.decode()
    assert "Record a measuring session first" in page


def test_a_draft_leads_to_itself_instead_of_a_second_one(
    therapist: Browser, letter: ProgressLetter
) -> None:
    sent = therapist.get(reverse("letter-new", args=[letter.episode_id]))
    assert sent.url == reverse("letter", args=[letter.pk])


def test_the_draft_page_shows_the_texts_and_the_sheet(
    therapist: Browser, letter: ProgressLetter
) -> None:
    page = therapist.get(reverse("letter", args=[letter.pk])).content.decode()
    assert 'maxlength="300"' in page
    assert "Draft: not approved, not to be sent" in page
    assert "<svg" in page
    assert 'style="' not in page
    assert history_of(letter.episode.client)[0].verb == "letter.seen"


def test_typed_text_is_kept_and_shown_in_the_sheet(
    therapist: Browser, letter: ProgressLetter
) -> None:
    address = reverse("letter", args=[letter.pk])
    assert therapist.post(address, typed(letter)).url == address
    assert "Please sign the garment order." in therapist.get(address).content.decode()


def test_an_autosave_answers_with_the_sheet_alone(
    therapist: Browser, letter: ProgressLetter
) -> None:
    answer = therapist.post(
        reverse("letter", args=[letter.pk]), typed(letter), headers={"HX-Request": "true"}
    )
    page = answer.content.decode()
    assert "Garments next." in page
    assert "<html" not in page
    letter.refresh_from_db()
    assert letter.edited_at.isoformat() in page


def test_text_that_is_too_long_stays_in_the_form(
    therapist: Browser, letter: ProgressLetter
) -> None:
    long = "x" * 301
    page = therapist.post(
        reverse("letter", args=[letter.pk]), typed(letter, bottom_line=long)
    ).content.decode()
    assert long in page
    assert "at most 300 characters" in page
    answer = therapist.post(
        reverse("letter", args=[letter.pk]),
        typed(letter, bottom_line=long),
        headers={"HX-Request": "true"},
    )
    assert answer.status_code == 422
    assert "Not kept yet" in answer.content.decode()


def test_a_line_break_counts_as_the_one_character_that_is_kept(
    therapist: Browser, letter: ProgressLetter
) -> None:
    """A browser sends it as two, and its own limit of the field counts one (HTML, [memory])."""
    full = "\r\n".join(["x" * 59] * 10)  # 599 of 600 characters as kept, 608 as sent
    therapist.post(reverse("letter", args=[letter.pk]), typed(letter, treatment=full))
    letter.refresh_from_db()
    assert letter.treatment == full.replace("\r\n", "\n")


def test_two_people_editing_lose_nothing(
    therapist: Browser, lead: Browser, letter: ProgressLetter
) -> None:
    address = reverse("letter", args=[letter.pk])
    lead.post(address, typed(letter, plan="What the lead wrote."))
    page = therapist.post(address, typed(letter, plan="What the therapist wrote.")).content.decode()
    assert "changed while you had this page open" in page
    assert "What the therapist wrote." in page
    assert "What the lead wrote." in page


@pytest.mark.usefixtures("_quick_print")
def test_an_approved_letter_shows_who_when_and_hash_and_cannot_be_edited(
    therapist: Browser, letter: ProgressLetter
) -> None:
    approve(therapist, letter)
    letter.refresh_from_db()
    page = therapist.get(reverse("letter", args=[letter.pk])).content.decode()
    assert letter.pdf_sha256 in page
    assert "Theo Marsh, PT, DPT" in page
    assert "<textarea" not in page
    therapist.post(reverse("letter", args=[letter.pk]), typed(letter))
    letter.refresh_from_db()
    assert letter.plan != TYPED["plan"]


def test_the_pdf_of_an_approved_letter_is_the_same_file_every_time(
    therapist: Browser, letter: ProgressLetter
) -> None:
    approve(therapist, letter)
    address = reverse("letter-pdf", args=[letter.pk])
    first, second = therapist.get(address), therapist.get(address)
    assert first.content == second.content
    assert first.content.startswith(b"%PDF-1.7")
    assert first["Content-Type"] == "application/pdf"
    assert history_of(letter.episode.client)[0].verb == "letter.printed"


def test_a_draft_pdf_is_printed_afresh(
    therapist: Browser, letter: ProgressLetter, monkeypatch: pytest.MonkeyPatch
) -> None:
    seen = []
    monkeypatch.setattr(views, "letter_pdf", lambda sheet: seen.append(sheet.is_draft) or b"%PDF")
    therapist.get(reverse("letter-pdf", args=[letter.pk]))
    assert seen == [True]


def test_a_printing_failure_shows_a_sentence_and_keeps_the_draft(
    therapist: Browser, letter: ProgressLetter, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fails(sheet: object) -> bytes:
        raise NotPrinted(PrintFault.FAILED)

    monkeypatch.setattr(views, "letter_pdf", fails)
    for name, status in (("letter-pdf", 503), ("letter-approve", 200)):
        answer = therapist.get(reverse(name, args=[letter.pk]))
        assert answer.status_code == status
        assert "The PDF could not be made" in answer.content.decode()
    letter.refresh_from_db()
    assert not letter.is_approved


def test_without_pango_every_letter_page_says_what_to_install(
    therapist: Browser, letter: ProgressLetter, monkeypatch: pytest.MonkeyPatch
) -> None:
    press.press_for.cache_clear()
    monkeypatch.setattr(press, "weasyprint", None)
    monkeypatch.setattr(press, "MISSING", "libpango", raising=False)
    for name, subject in (("letters", letter.episode_id), ("letter", letter.pk)):
        assert "install Pango" in therapist.get(reverse(name, args=[subject])).content.decode()
    answer = therapist.get(reverse("letter-pdf", args=[letter.pk]))
    assert answer.status_code == 503
    assert "install Pango" in answer.content.decode()


@pytest.mark.usefixtures("_quick_print")
def test_a_letter_that_changed_since_it_was_looked_at_is_not_approved(
    therapist: Browser, letter: ProgressLetter
) -> None:
    page = therapist.post(reverse("letter-approve", args=[letter.pk]), {"digest": "0" * 64})
    assert "changed while you had this page open" in page.content.decode()
    letter.refresh_from_db()
    assert not letter.is_approved


def test_a_draft_is_discarded_only_after_a_question(
    therapist: Browser, letter: ProgressLetter
) -> None:
    address = reverse("letter-discard", args=[letter.pk])
    assert "Discard this draft?" in therapist.get(address).content.decode()
    assert ProgressLetter.objects.exists()
    assert therapist.post(address).url == reverse("letters", args=[letter.episode_id])
    assert not ProgressLetter.objects.exists()


def test_an_urgent_letter_tells_the_therapist_to_phone_first(
    therapist: Browser, cast: Cast
) -> None:
    urgent = services.compile_letter(
        episode=much_treated(cast.therapist),
        period_from=days_ago(90),
        period_to=today(),
        by=cast.therapist,
    )
    assert "Phone first." in therapist.get(reverse("letter", args=[urgent.pk])).content.decode()


@pytest.mark.parametrize("name", ["letters", "letter-pdf"])
def test_pages_that_only_show_refuse_to_be_posted_to(
    name: str, therapist: Browser, letter: ProgressLetter
) -> None:
    subject = letter.episode_id if name == "letters" else letter.pk
    assert therapist.post(reverse(name, args=[subject])).status_code == 405


@pytest.mark.parametrize("name", ["letter-new", "letter", "letter-approve", "letter-discard"])
def test_pages_that_write_refuse_other_methods(
    name: str, therapist: Browser, letter: ProgressLetter
) -> None:
    subject = letter.episode_id if name == "letter-new" else letter.pk
    assert therapist.delete(reverse(name, args=[subject])).status_code == 405


@pytest.mark.parametrize(
    "name",
    [
        "letters",
        "letter-new",
        "letter",
        "letter-approve",
        "letter-discard",
        "letter-pdf",
    ],
)
def test_the_front_desk_sees_no_letter(name: str, desk: Browser, letter: ProgressLetter) -> None:
    subject = letter.episode_id if name in {"letters", "letter-new"} else letter.pk
    for method in (desk.get, desk.post):
        assert method(reverse(name, args=[subject])).status_code == 403
    assert ProgressLetter.objects.get() == letter
