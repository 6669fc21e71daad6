"""The pages of outcome scores, as the therapist and others meet them."""

from datetime import timedelta

import pytest
from django.test import Client as Browser
from django.urls import reverse

from clinic.audit.models import Entry
from clinic.clients.models import Episode
from measurements.models import OutcomeScore
from tests.builders import make_client, make_episode, today
from tests.cast import Cast
from tests.measurements.score_builders import GRIP_RIGHT, LLIS, keep_score

GRIP = {"right_1": "24", "right_2": "25", "right_3": "29"}
FUNCTION = {
    "activity_1": "reach a shelf",
    "able_1": "3",
    "activity_2": "carry the shopping",
    "able_2": "4",
    "activity_3": "sleep on that side",
    "able_3": "2",
}
HTMX = {"HTTP_HX_REQUEST": "true"}


@pytest.fixture
def episode(cast: Cast) -> Episode:
    return make_episode(make_client(), cast.therapist)


def typed(instrument: str, **differences: str) -> dict[str, str]:
    return {"instrument": instrument, "scored_on": today().isoformat(), "note": ""} | differences


def new(episode: Episode) -> str:
    return reverse("scores-new", args=[episode.pk])


# Recording


# Check values: worked examples quickdash-mixed (40.9091), dash-27-answered (33.3333), psfs-average
# (3.0), nprs-shoulder-mcid (5.6667) in tests/published; means by hand.
@pytest.mark.parametrize(
    ("instrument", "fields", "kept"),
    [
        ("quickdash", {"answers": "3 2 4 3 2 3 1 2 4 3 2"}, {("", ""): "40.909"}),
        ("quickdash", {"answers": "3243231243-"}, {("", ""): "42.500"}),
        ("dash", {"answers": "2" * 18 + "3" * 9 + "---"}, {("", ""): "33.333"}),
        ("dash", {"total": "33,33"}, {("", ""): "33.330"}),
        ("llis_1", {"total": "41.2"}, {("", ""): "41.200"}),
        ("function", FUNCTION, {("", ""): "3.000"}),
        ("pain", {"now": "4", "usual": "6", "worst": "7"}, {("", "mean"): "5.667"}),
        ("pain", {"now": "4"}, {("", "now"): "4.000"}),
        ("grip", GRIP, {("right", ""): "26.000"}),
        ("impedance", {"right_arm": "1.205"}, {("right", "arm"): "1.205"}),
        ("tissue_water", {"left_upper_arm": "1,3"}, {("left", "upper_arm"): "1.300"}),
        ("displaced", {"left_hand": "412"}, {("left", "hand"): "412.000"}),
        (
            "shoulder",
            {"right_flexion": "120", "left_flexion": "170", "right_external": "0"},
            {
                ("right", "flexion"): "120.000",
                ("left", "flexion"): "170.000",
                ("right", "external"): "0.000",
            },
        ),
    ],
)
def test_each_instrument_is_scored_from_its_own_fields(
    therapist: Browser,
    episode: Episode,
    instrument: str,
    fields: dict[str, str],
    kept: dict[tuple[str, str], str],
) -> None:
    response = therapist.post(new(episode), typed(instrument, **fields))
    assert response.url == reverse("scores", args=[episode.pk])
    rows = OutcomeScore.objects.filter(instrument=instrument)
    assert {(row.side, row.part): str(row.score) for row in rows} == kept


def test_items_are_kept_as_numbers_with_their_gaps(therapist: Browser, episode: Episode) -> None:
    therapist.post(new(episode), typed("quickdash", answers="3243231243-"))
    assert OutcomeScore.objects.get().items == [3, 2, 4, 3, 2, 3, 1, 2, 4, 3, None]


def test_then_another_goes_on_to_the_next_instrument(therapist: Browser, episode: Episode) -> None:
    response = therapist.post(new(episode), typed("grip", then="another", **GRIP))
    assert response.url == new(episode)


def test_only_the_fields_of_the_chosen_instrument_are_shown(
    therapist: Browser, episode: Episode
) -> None:
    nothing = therapist.get(new(episode)).content.decode()
    assert "Choose an instrument" in nothing
    page = therapist.get(new(episode), {"instrument": "grip"}).content.decode()
    assert 'name="right_3"' in page
    assert 'name="answers"' not in page
    assert therapist.get(new(episode), {"instrument": "guess"}).status_code == 200


def test_a_caution_stands_where_the_number_is_typed(therapist: Browser, episode: Episode) -> None:
    page = therapist.get(new(episode), {"instrument": "impedance"}).content.decode()
    assert '<details class="method mt-2" open>' in page
    assert "Not for people with a cardiac pacemaker" in page


def test_a_script_gets_the_fields_alone(therapist: Browser, episode: Episode) -> None:
    piece = therapist.get(new(episode), {"instrument": "pain"}, **HTMX).content.decode()
    assert 'name="worst"' in piece
    assert "<html" not in piece


def test_the_activities_of_last_time_are_there_again(therapist: Browser, episode: Episode) -> None:
    therapist.post(new(episode), typed("function", **FUNCTION))
    page = therapist.get(new(episode), {"instrument": "function"}).content.decode()
    assert 'value="carry the shopping"' in page


@pytest.mark.parametrize(
    ("instrument", "fields", "words"),
    [
        ("llis_2", {"total": "-3"}, "−3 cannot be: between 0 and 100 is expected."),
        ("llis_2", {"total": "140"}, "140 cannot be"),
        ("llis_2", {"total": "many"}, "“many” is not a number"),
        ("llis_2", {}, "Nothing is typed yet"),
        ("quickdash", {"answers": "32432312---"}, "Only 8 of 11 items have an answer"),
        ("quickdash", {"answers": "3243231"}, "7 answers typed, and there are 11 items"),
        ("quickdash", {"answers": "32432312436"}, "Item 11 says 6"),
        ("quickdash", {"answers": "3243231243?"}, "“?” is no answer"),
        ("quickdash", {"answers": "32432312432", "total": "9"}, "not both"),
        ("dash", {"answers": "1" * 26 + "----"}, "Only 26 of 30 items have an answer"),
        ("pain", {"now": "4", "usual": "5"}, "or all three"),
        ("pain", {"worst": "9"}, "Type pain now alone"),
        ("pain", {"now": "3.5"}, "type a whole number"),
        ("grip", {"right_1": "24", "right_2": "25"}, "2 of 3 trials of the right hand"),
        ("grip", {"right_1": "24.35"}, "at most one decimal"),
        ("grip", {}, "Nothing is typed yet"),
        ("shoulder", {"right_flexion": "300"}, "between 0 and 220° is expected"),
        ("displaced", {"left_hand": "9000"}, "between 1 and 2,000"),
        ("function", {"activity_1": "sleep", "able_1": "3"}, "1 scored activity: 3 to 5"),
        ("function", {"activity_1": "sleep"}, "Score this activity too"),
        ("function", {"able_1": "4"}, "in the client&#x27;s words"),
        ("impedance", {"right_arm": "9.9"}, "between 0.3 and 5 is expected"),
        ("pain", {"now": "4", "scored_on": "2999-01-01"}, "still to come"),
        ("pain", {"now": "4", "scored_on": "1900-01-01"}, "born on 4 Mar 1961"),
        ("pain", {"now": "4", "scored_on": "yesterday-ish"}, "yesterday-ish"),
    ],
)
def test_what_cannot_be_is_answered_in_a_sentence_and_stays(
    therapist: Browser, episode: Episode, instrument: str, fields: dict[str, str], words: str
) -> None:
    wrong = typed(instrument, **{"note": "kept words"} | fields)
    page = therapist.post(new(episode), wrong).content.decode()
    assert words in page
    assert "kept words" in page
    for text in fields.values():
        assert text in page
    assert not OutcomeScore.objects.exists()


def test_recording_refuses_other_methods_and_the_front_desk(
    therapist: Browser, desk: Browser, episode: Episode
) -> None:
    assert therapist.put(new(episode)).status_code == 405
    assert desk.post(new(episode), typed("grip", **GRIP)).status_code == 403
    assert not OutcomeScore.objects.exists()


# The preview


def test_the_preview_gives_the_score_and_its_verdict_and_saves_nothing(
    therapist: Browser, episode: Episode
) -> None:
    keep_score(episode, today() - timedelta(days=30), LLIS, "60")
    page = therapist.post(
        reverse("scores-preview", args=[episode.pk]), typed("llis_2", total="40"), **HTMX
    ).content.decode()
    assert "40.0" in page
    assert "better: matters" in page
    assert OutcomeScore.objects.count() == 1


def test_the_preview_says_what_is_missing(therapist: Browser, episode: Episode) -> None:
    url = reverse("scores-preview", args=[episode.pk])
    page = therapist.post(url, typed("quickdash", answers="324"), **HTMX).content.decode()
    assert "No score yet." in page
    assert "3 answers typed" in page


def test_the_preview_answers_without_scripts_too(therapist: Browser, episode: Episode) -> None:
    url = reverse("scores-preview", args=[episode.pk])
    page = therapist.post(url, typed("grip", **GRIP)).content.decode()
    assert "<html" in page
    assert "it becomes the baseline" in page
    assert therapist.get(url).status_code == 405
    assert therapist.post(url, {}, **HTMX).status_code == 200


def test_the_preview_is_not_for_the_front_desk(desk: Browser, episode: Episode) -> None:
    url = reverse("scores-preview", args=[episode.pk])
    assert desk.post(url, typed("grip", **GRIP)).status_code == 403


# The history


def test_the_history_shows_each_score_its_trend_and_its_band_in_words(
    therapist: Browser, episode: Episode
) -> None:
    for days, score in ((60, "60"), (30, "58"), (0, "40")):
        keep_score(episode, today() - timedelta(days=days), LLIS, score)
    page = therapist.get(reverse("scores", args=[episode.pk])).content.decode()
    assert "<svg" in page
    assert "Shaded: ± 12.7 around it" in page
    assert "within the smallest change" in page
    assert "better: matters" in page
    assert "Rehabil Oncol 2018;36:28-36" in page
    assert "the licensed therapist decides" in page
    assert Entry.objects.filter(verb="scores.seen", client=episode.client).count() == 1


def test_an_empty_history_says_how_to_begin(therapist: Browser, episode: Episode) -> None:
    page = therapist.get(reverse("scores", args=[episode.pk])).content.decode()
    assert "Record the first scores" in page


def test_what_is_from_memory_and_what_is_not_known_is_said(
    therapist: Browser, episode: Episode
) -> None:
    keep_score(episode, today(), GRIP_RIGHT, "24")
    page = therapist.get(reverse("scores", args=[episode.pk])).content.decode()
    assert "from memory, not re-read" in page
    assert "No smallest change beyond measurement error is known" in page


def test_the_history_is_read_only_and_not_for_the_front_desk(
    therapist: Browser, desk: Browser, episode: Episode
) -> None:
    url = reverse("scores", args=[episode.pk])
    assert therapist.post(url).status_code == 405
    assert desk.get(url).status_code == 403


# Striking out


def test_a_score_is_struck_out_with_a_reason_and_stays_readable(
    therapist: Browser, episode: Episode
) -> None:
    row = keep_score(episode, today(), GRIP_RIGHT, "24")
    url = reverse("score-strike", args=[row.pk])
    assert "24.0" in therapist.get(url).content.decode()
    page = therapist.post(url, {"reason": "wrong hand"}, follow=True).content.decode()
    assert "struck out" in page
    assert "wrong hand" in page


def test_striking_needs_a_reason_and_happens_once(therapist: Browser, episode: Episode) -> None:
    row = keep_score(episode, today(), GRIP_RIGHT, "24")
    url = reverse("score-strike", args=[row.pk])
    assert "This field is required" in therapist.post(url, {"reason": ""}).content.decode()
    therapist.post(url, {"reason": "wrong hand"})
    again = therapist.post(url, {"reason": "kept words"}).content.decode()
    assert "struck out already" in again
    assert "kept words" in again


def test_striking_refuses_other_methods_and_the_front_desk(
    therapist: Browser, desk: Browser, episode: Episode
) -> None:
    row = keep_score(episode, today(), GRIP_RIGHT, "24")
    url = reverse("score-strike", args=[row.pk])
    assert therapist.put(url).status_code == 405
    assert desk.post(url, {"reason": "no"}).status_code == 403
    assert OutcomeScore.objects.get().struck_at is None


# The panel of other pages


def test_the_panel_lists_records_and_lists_again(therapist: Browser, episode: Episode) -> None:
    url = reverse("scores-panel", args=[episode.pk])
    assert "Nothing has been scored" in therapist.get(url).content.decode()
    chosen = therapist.get(url, {"instrument": "grip", "on": "2026-02-03"}).content.decode()
    assert 'name="right_1"' in chosen
    assert 'value="2026-02-03"' in chosen
    answer = therapist.post(url, typed("grip", **GRIP), **HTMX)
    page = answer.content.decode()
    assert answer.status_code == 200
    assert "Recorded: grip strength." in page
    assert "26.0" in page
    assert "<html" not in page


def test_the_panel_keeps_what_cannot_be(therapist: Browser, episode: Episode) -> None:
    url = reverse("scores-panel", args=[episode.pk])
    answer = therapist.post(url, typed("grip", right_1="999"), **HTMX)
    assert answer.status_code == 422
    assert 'value="999"' in answer.content.decode()
    assert "999 cannot be" in answer.content.decode()


def test_the_panel_refuses_other_methods_and_the_front_desk(
    therapist: Browser, desk: Browser, episode: Episode
) -> None:
    url = reverse("scores-panel", args=[episode.pk])
    assert therapist.put(url).status_code == 405
    assert desk.get(url).status_code == 403
