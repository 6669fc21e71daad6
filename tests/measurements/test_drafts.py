"""What is typed and not recorded survives a closed tab, and goes when it is recorded."""

import pytest
from django.test import Client as Browser
from django.urls import reverse

from clinic.audit.models import Entry
from clinic.clients.models import Episode
from measurements.models import GirthDraft, GirthSession, Protocol
from tests.builders import make_client, make_episode, make_protocol
from tests.cast import Cast
from tests.measurements.entry_pages import enter_address, page_typed, recording

HTMX = {"HTTP_HX_REQUEST": "true"}


@pytest.fixture
def episode(cast: Cast) -> Episode:
    return make_episode(make_client(), cast.therapist)


@pytest.fixture
def protocol(db: None) -> Protocol:
    return make_protocol()


def draft_address(episode: Episode) -> str:
    return reverse("girths-draft", args=[episode.pk]) + "?limb=arm"


def test_a_draft_is_there_when_the_page_is_opened_again(
    therapist: Browser, episode: Episode, protocol: Protocol
) -> None:
    typed = page_typed(protocol, **{"girth-right-4-1": "18,6x", "note": "tape slipped"})
    therapist.post(draft_address(episode), typed, **HTMX)
    page = therapist.get(enter_address(episode)).content.decode()
    assert 'value="18,6x"' in page  # even what cannot be read
    assert 'value="tape slipped"' in page
    assert "What you typed is back, as kept on" in page
    assert not GirthSession.objects.exists()


def test_a_draft_is_its_authors_alone(
    therapist: Browser, cast: Cast, signed_in: object, episode: Episode, protocol: Protocol
) -> None:
    therapist.post(draft_address(episode), page_typed(protocol), **HTMX)
    other = signed_in(cast.other_therapist)  # type: ignore[operator]
    assert "What you typed is back" not in other.get(enter_address(episode)).content.decode()


def test_many_savings_are_one_draft_and_one_line_in_the_log(
    therapist: Browser, episode: Episode, protocol: Protocol
) -> None:
    for girth in ("2", "21", "21.4"):
        therapist.post(
            draft_address(episode), page_typed(protocol, **{"girth-right-8-1": girth}), **HTMX
        )
    assert GirthDraft.objects.get().typed["girth-right-8-1"] == "21.4"
    assert Entry.objects.filter(verb="girths.draft_saved").count() == 1


def test_recording_removes_the_draft(
    therapist: Browser, episode: Episode, protocol: Protocol
) -> None:
    therapist.post(draft_address(episode), page_typed(protocol), **HTMX)
    therapist.post(enter_address(episode), recording(protocol))
    assert GirthSession.objects.count() == 1
    assert not GirthDraft.objects.exists()


def test_discarding_removes_the_draft(
    therapist: Browser, episode: Episode, protocol: Protocol
) -> None:
    therapist.post(draft_address(episode), page_typed(protocol), **HTMX)
    therapist.post(reverse("girths-draft-discard", args=[episode.pk]) + "?limb=arm")
    assert not GirthDraft.objects.exists()


def test_a_page_without_script_can_keep_a_draft(
    therapist: Browser, episode: Episode, protocol: Protocol
) -> None:
    answer = therapist.post(draft_address(episode), page_typed(protocol))
    assert answer.url == enter_address(episode)
    assert GirthDraft.objects.count() == 1


def test_an_empty_page_keeps_no_draft(
    therapist: Browser, episode: Episode, protocol: Protocol
) -> None:
    therapist.post(draft_address(episode), {"protocol": str(protocol.pk), "weight": " "}, **HTMX)
    assert not GirthDraft.objects.exists()


def test_fields_that_are_not_of_the_page_are_not_kept(
    therapist: Browser, episode: Episode, protocol: Protocol
) -> None:
    typed = page_typed(protocol) | {"surprise": "x", "girth-right-4-9": "1", "note": "a\0b"}
    therapist.post(draft_address(episode), typed, **HTMX)
    kept = GirthDraft.objects.get().typed
    assert "surprise" not in kept
    assert "girth-right-4-9" not in kept
    assert kept["note"] == "ab"


def test_someone_signed_out_is_sent_to_sign_in_and_back_and_the_draft_waits(
    therapist: Browser, episode: Episode, protocol: Protocol
) -> None:
    therapist.post(draft_address(episode), page_typed(protocol), **HTMX)
    therapist.logout()
    answer = therapist.post(enter_address(episode), recording(protocol))
    assert answer.url.startswith(reverse("sign-in"))
    assert GirthDraft.objects.count() == 1
