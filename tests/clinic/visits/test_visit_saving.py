"""The visit page keeps what is typed: autosaves, two versions, copying forward."""

import pytest
from django.test import Client as Browser

from clinic.clients.models import Episode
from clinic.visits.models import VisitNote
from clinic.visits.red_flags import Sign
from clinic.visits.services.notes import save_note
from clinic.visits.words import Section
from tests.cast import Cast
from tests.clinic.visits.charting import PLANNED, SAID, draft, signed, typed
from tests.clinic.visits.visit_pages import OTHER, SCRIPT, body, page_of, posted

pytestmark = pytest.mark.django_db


# Saving


def test_what_is_typed_is_kept(therapist: Browser, note: VisitNote) -> None:
    answer = therapist.post(page_of(note, "visit-save"), posted(note, signs=["lump"]))
    assert answer.status_code == 302
    note.refresh_from_db()
    assert (note.subjective, note.plan, note.visit_min) == (SAID, PLANNED, 60)
    assert [row.minutes for row in note.treatments.all()] == [40]
    assert note.signs == [Sign.LUMP.value]


def test_an_autosave_is_answered_with_the_next_revision_and_the_time(
    therapist: Browser, note: VisitNote
) -> None:
    answer = therapist.post(page_of(note, "visit-save"), posted(note), headers=SCRIPT)
    assert answer.status_code == 200
    assert "Saved" in body(answer)
    assert f'name="revision" value="{note.revision + 1}"' in body(answer)


def test_units_and_their_words_come_with_a_save_that_asks_for_them(
    therapist: Browser, note: VisitNote
) -> None:
    values = posted(note, draw="1")
    said = body(therapist.post(page_of(note, "visit-save"), values, headers=SCRIPT))
    # CMS Pub. 100-04, chapter 5, 20.2 C: 38 to 52 minutes are three units.
    assert '<b class="figure-number">3</b>' in said
    assert "How the units come about" in said


def test_minutes_past_the_visit_are_warned_about(therapist: Browser, note: VisitNote) -> None:
    values = posted(note, draw="1", visit_min="30")
    said = body(therapist.post(page_of(note, "visit-save"), values, headers=SCRIPT))
    assert "but the visit took" in said


@pytest.mark.parametrize("minutes", ["", "0", "481", "ten", "-5"])
def test_a_line_without_sound_minutes_is_told_and_the_text_is_kept(
    therapist: Browser, note: VisitNote, minutes: str
) -> None:
    values = posted(note, minutes=[minutes, ""])
    answer = therapist.post(page_of(note, "visit-save"), values)
    assert answer.status_code == 422
    assert "Line 1" in body(answer)
    assert f'value="{minutes}"' in body(answer)
    note.refresh_from_db()
    assert note.subjective == SAID
    assert not note.treatments.exists()


@pytest.mark.parametrize(
    "bad",
    [{"visit_min": "0"}, {"visit_min": "999"}, {"plan": "x" * 4001}, {"visit_min": "an hour"}],
)
def test_bad_input_keeps_what_was_typed(
    therapist: Browser, note: VisitNote, bad: dict[str, str]
) -> None:
    answer = therapist.post(page_of(note, "visit-save"), posted(note) | bad)
    assert answer.status_code == 422
    assert SAID in body(answer)
    assert next(iter(bad.values())) in body(answer)
    note.refresh_from_db()
    assert note.subjective == ""


def test_saving_takes_a_post(therapist: Browser, note: VisitNote) -> None:
    for name in ("save", "settle", "copy", "cosign", "addendum", "red-flag", "adherence"):
        assert therapist.get(page_of(note, f"visit-{name}")).status_code == 405


def with_two_versions(cast: Cast, note: VisitNote) -> VisitNote:
    """Another clinician saved after the page was opened."""
    theirs = typed(sections={Section.SUBJECTIVE: OTHER}, treatments=())
    return save_note(note=note, typed=theirs, revision=note.revision, by=cast.other_therapist)


# Two versions


def test_a_second_device_meets_both_versions_side_by_side(
    therapist: Browser, cast: Cast, note: VisitNote
) -> None:
    with_two_versions(cast, note)
    answer = therapist.post(page_of(note, "visit-save"), posted(note), headers=SCRIPT)
    assert answer.status_code == 409
    assert SAID in body(answer)
    assert OTHER in body(answer)
    assert SAID in body(therapist.get(page_of(note)))


@pytest.mark.parametrize(
    ("choice", "kept"), [("mine", SAID), ("theirs", OTHER), ("both", f"{OTHER}\n\n{SAID}")]
)
def test_the_version_chosen_is_kept(
    therapist: Browser, cast: Cast, note: VisitNote, choice: str, kept: str
) -> None:
    with_two_versions(cast, note)
    therapist.post(page_of(note, "visit-save"), posted(note))
    note.refresh_from_db()
    values = {"revision": note.revision, "subjective": choice, "treatments": "both"}
    therapist.post(page_of(note, "visit-settle"), values)
    note.refresh_from_db()
    assert note.subjective == kept
    assert [row.minutes for row in note.treatments.all()] == [40]
    assert "Two versions" not in body(therapist.get(page_of(note)))


# Copy forward


def test_what_is_copied_is_marked_until_it_is_touched(
    therapist: Browser, cast: Cast, episode: Episode
) -> None:
    signed(cast.therapist, episode)
    note = draft(cast.therapist, episode)
    answer = therapist.post(page_of(note, "visit-copy"), {"section": "plan"}, headers=SCRIPT)
    assert PLANNED in body(answer)
    note.refresh_from_db()
    assert note.copied == ["plan"]
    assert "not yet touched" in body(therapist.get(page_of(note)))
    therapist.post(page_of(note, "visit-save"), posted(note, plan=f"{PLANNED} Then rest."))
    assert "not yet touched" not in body(therapist.get(page_of(note)))


def test_copying_without_a_script_loses_nothing_typed(
    therapist: Browser, cast: Cast, episode: Episode
) -> None:
    signed(cast.therapist, episode)
    note = draft(cast.therapist, episode)
    values = posted(note, subjective=OTHER, plan="", section="all")
    therapist.post(page_of(note, "visit-copy"), values)
    note.refresh_from_db()
    assert (note.subjective, note.plan) == (OTHER, PLANNED)


def test_nothing_to_copy_is_a_sentence(therapist: Browser, note: VisitNote) -> None:
    said = body(therapist.post(page_of(note, "visit-copy"), {"section": "plan"}, headers=SCRIPT))
    assert "no earlier note" in said
