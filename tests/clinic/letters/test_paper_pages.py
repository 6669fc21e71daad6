"""The pages that write reports and discharge summaries: three kinds, one way of working."""

import re

import pytest
from django.db import connection
from django.test import Client as Browser
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from clinic.clients.models import Episode
from clinic.letters import services, views
from clinic.letters.kinds import LetterKind
from clinic.letters.models import ProgressLetter
from clinic.visits.selectors.plan_facts import plan_standing
from tests.builders import make_client, make_episode, today
from tests.cast import Cast
from tests.clinic.letters.care_stories import NEED, paper, treated
from tests.clinic.letters.stories import better, days_ago

pytestmark = pytest.mark.django_db
PAPERS = [LetterKind.REPORT, LetterKind.DISCHARGE]


@pytest.fixture(autouse=True)
def _quick_print(monkeypatch: pytest.MonkeyPatch) -> None:
    for module in (services, views):
        monkeypatch.setattr(module, "letter_pdf", lambda sheet: b"%PDF quick")


@pytest.fixture
def episode(cast: Cast) -> Episode:
    return better(cast.therapist)


def period(kind: str, **differences: str) -> dict[str, str]:
    return {"period_from": f"{days_ago(90)}", "period_to": f"{today()}", "kind": kind} | differences


def typed(letter: ProgressLetter, **differences: str) -> dict[str, str]:
    texts = {name: f"My {name}." for name in letter.kind_word.texts}
    return texts | {"edited_at": letter.edited_at.isoformat()} | differences


def test_the_list_offers_the_three_kinds_and_names_each(
    therapist: Browser, episode: Episode
) -> None:
    address = reverse("letters", args=[episode.pk])
    page = therapist.get(address).content.decode()
    for kind in LetterKind:
        assert f"Write a {kind.label}" in page
    paper(episode, LetterKind.REPORT)
    page = therapist.get(address).content.decode()
    assert "Open the draft of the progress report" in page
    assert "Write a discharge summary" in page
    assert "<td>Progress report</td>" in page


def test_the_list_takes_the_same_queries_however_long_it_is(
    therapist: Browser, episode: Episode
) -> None:
    counts = set()
    for kind in LetterKind:
        paper(episode, kind)
        with CaptureQueriesContext(connection) as captured:
            therapist.get(reverse("letters", args=[episode.pk]))
        counts.add(len(captured))
    assert len(counts) == 1


@pytest.mark.parametrize("kind", PAPERS)
def test_a_paper_is_begun_edited_and_approved(
    therapist: Browser, cast: Cast, kind: LetterKind
) -> None:
    episode = treated(cast.therapist, (5,))
    address = reverse("letter-new", args=[episode.pk])
    assert f"Write a {kind.label}" in therapist.get(f"{address}?kind={kind}").content.decode()
    sent = therapist.post(address, period(kind))
    letter = ProgressLetter.objects.get(kind=kind)
    assert sent.url == reverse("letter", args=[letter.pk])
    page = therapist.get(sent.url).content.decode()
    assert kind.titled in page
    assert page.count("<textarea") == len(kind.texts)
    therapist.post(sent.url, typed(letter))
    letter.refresh_from_db()
    assert all(getattr(letter, name) == f"My {name}." for name in kind.texts)
    approval = reverse("letter-approve", args=[letter.pk])
    page = therapist.get(approval).content.decode()
    digest = re.search(r'name="digest" value="([0-9a-f]{64})"', page)
    assert digest, page
    therapist.post(approval, {"digest": digest[1]})
    page = therapist.get(sent.url).content.decode()
    assert "stays exactly as it was sent" in page
    assert "My plan." in page
    assert plan_standing(episode, today()).report.since_last == 0


def test_a_report_without_its_reason_is_not_approved_and_says_so(
    therapist: Browser, episode: Episode
) -> None:
    letter = paper(episode, LetterKind.REPORT)
    approval = reverse("letter-approve", args=[letter.pk])
    assert "Say why skilled care is still needed" in therapist.get(approval).content.decode()
    page = therapist.post(approval, {"digest": "0" * 64}).content.decode()
    assert "Say why skilled care is still needed" in page
    letter.refresh_from_db()
    assert not letter.is_approved


@pytest.mark.parametrize("kind", PAPERS)
def test_a_bad_period_keeps_what_was_typed_and_its_kind(
    therapist: Browser, episode: Episode, kind: LetterKind
) -> None:
    page = therapist.post(
        reverse("letter-new", args=[episode.pk]), period(kind, period_to=f"{days_ago(99)}")
    ).content.decode()
    assert "The period ends before it begins" in page
    assert f'value="{days_ago(99)}"' in page
    assert f'name="kind" value="{kind}"' in page
    assert not ProgressLetter.objects.exists()


def test_text_that_is_too_long_stays_in_the_form(therapist: Browser, episode: Episode) -> None:
    letter, long = paper(episode, LetterKind.REPORT), "x" * 601
    address = reverse("letter", args=[letter.pk])
    page = therapist.post(address, typed(letter, skilled_need=long)).content.decode()
    assert long in page
    assert "at most 600 characters" in page


def test_an_unknown_kind_is_not_found(therapist: Browser, episode: Episode) -> None:
    address = reverse("letter-new", args=[episode.pk])
    assert therapist.get(f"{address}?kind=novel").status_code == 404
    assert therapist.post(address, period("novel")).status_code == 404
    assert therapist.put(address).status_code == 405


@pytest.mark.parametrize("kind", PAPERS)
def test_the_front_desk_sees_and_writes_no_paper(
    desk: Browser, episode: Episode, kind: LetterKind
) -> None:
    address = reverse("letter-new", args=[episode.pk])
    assert desk.get(f"{address}?kind={kind}").status_code == 403
    assert desk.post(address, period(kind)).status_code == 403
    letter = paper(episode, kind)
    assert desk.get(reverse("letter", args=[letter.pk])).status_code == 403
    assert desk.get(reverse("letter-pdf", args=[letter.pk])).status_code == 403


def test_a_summary_without_a_referrer_says_what_to_do_and_a_report_does_not(
    therapist: Browser, cast: Cast
) -> None:
    alone = make_episode(make_client(), cast.therapist, opened_on=days_ago(9))
    address = reverse("letter-new", args=[alone.pk])
    page = therapist.get(f"{address}?kind=discharge").content.decode()
    assert "Nobody to write to" in page
    assert "Nobody to write to" not in therapist.get(f"{address}?kind=report").content.decode()
    letter = paper(alone, LetterKind.REPORT, period_from=days_ago(9))
    page = therapist.get(reverse("letter", args=[letter.pk])).content.decode()
    assert "To the payer" in page
    assert NEED not in page
