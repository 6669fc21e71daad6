"""The visit page: charting, saving, two versions, copying forward, signing, and who may not."""

from typing import Any

import pytest
from django.test import Client as Browser
from django.urls import reverse

from clinic.accounts.models import User
from clinic.clients.models import Episode
from clinic.common.vocabulary import Precaution, Role
from clinic.scheduling.models import Appointment
from clinic.visits.models import RedFlagSeen, VisitNote
from clinic.visits.red_flags import Sign
from clinic.visits.services.notes import save_note
from clinic.visits.words import NoteState, Section, VisitKind
from programmes.models import AdherenceRecord, PrecautionReview
from tests.architecture.test_permits import NOWHERE
from tests.builders import make_client, make_episode, make_protocol, make_session, today
from tests.cast import Cast, make_staff
from tests.clinic.scheduling.desk_stories import make_appointment
from tests.clinic.visits.charting import PLANNED, SAID, asked, draft, ready, service, signed, typed
from tests.measurements.score_builders import GRIP_RIGHT, keep_score

pytestmark = pytest.mark.django_db

SCRIPT = {"HX-Request": "true"}
OTHER = "Heavy forearm, by another hand."


@pytest.fixture
def episode(cast: Cast) -> Episode:
    return make_episode(make_client(), cast.therapist)


@pytest.fixture
def note(cast: Cast, episode: Episode) -> VisitNote:
    return draft(cast.therapist, episode)


def page_of(note: VisitNote, name: str = "visit") -> str:
    return reverse(name, args=[note.pk])


def posted(note: VisitNote, **differences: Any) -> dict[str, Any]:
    """The whole page as a browser sends it, one treatment and one empty line."""
    values = {
        "revision": note.revision,
        "visit_min": "60",
        "subjective": SAID,
        "observations": "",
        "response": "",
        "plan": PLANNED,
        "service": [str(service().pk), ""],
        "minutes": ["40", ""],
        "remark": ["right arm", ""],
    }
    return values | differences


def body(response: Any) -> str:
    return response.content.decode()


# Opening


def test_a_line_of_the_day_sheet_opens_the_note_of_its_visit_and_only_one(
    therapist: Browser, cast: Cast, episode: Episode
) -> None:
    appointment = make_appointment(episode.client, cast.therapist, today())
    assert "Chart" in body(therapist.get(reverse("day-sheet")))
    address = reverse("appointment-visit", args=[appointment.pk])
    first, second = therapist.post(address), therapist.post(address)
    note = VisitNote.objects.get(appointment=appointment)
    assert first.url == second.url == page_of(note)
    assert note.kind == VisitKind.TREATMENT


def test_an_appointment_is_not_charted_by_looking(
    therapist: Browser, cast: Cast, episode: Episode
) -> None:
    appointment = make_appointment(episode.client, cast.therapist, today())
    assert therapist.get(reverse("appointment-visit", args=[appointment.pk])).status_code == 405


def test_a_client_with_two_open_episodes_is_asked_about(
    therapist: Browser, cast: Cast, episode: Episode
) -> None:
    other = make_episode(episode.client, cast.therapist)
    appointment: Appointment = make_appointment(episode.client, cast.therapist, today())
    address = reverse("appointment-visit", args=[appointment.pk])
    assert "Which episode" in body(therapist.post(address))
    therapist.post(address, {"episode": str(other.pk)})
    assert VisitNote.objects.get().episode == other


def test_a_client_without_an_open_episode_is_told_so(therapist: Browser, cast: Cast) -> None:
    appointment = make_appointment(make_client(), cast.therapist, today())
    said = body(therapist.post(reverse("appointment-visit", args=[appointment.pk])))
    assert "No open episode" in said


def test_a_visit_without_a_booking_begins_with_its_kind_and_day(
    therapist: Browser, episode: Episode
) -> None:
    address = reverse("visit-new", args=[episode.pk])
    assert therapist.get(address).status_code == 200
    answer = therapist.post(address, {"kind": "discharge", "visited_on": str(today())})
    assert answer.url == page_of(VisitNote.objects.get(kind="discharge"))


def test_a_day_to_come_stays_in_the_form_with_a_sentence(
    therapist: Browser, episode: Episode
) -> None:
    address = reverse("visit-new", args=[episode.pk])
    said = body(therapist.post(address, {"kind": "treatment", "visited_on": "3 Jan 2999"}))
    assert "still to come" in said
    assert "3 Jan 2999" in said


def test_the_page_shows_the_last_plan_and_all_parts(
    therapist: Browser, cast: Cast, episode: Episode
) -> None:
    signed(cast.therapist, episode)
    said = body(therapist.get(page_of(draft(cast.therapist, episode))))
    assert PLANNED in said
    for heading in ("Precautions", "Today&#x27;s readings", "Treatment", "Next booking"):
        assert heading in said or heading.replace("&#x27;", "'") in said


def test_the_list_names_every_note_and_its_state(
    therapist: Browser, cast: Cast, episode: Episode
) -> None:
    address = reverse("visits", args=[episode.pk])
    assert "No visit has been charted" in body(therapist.get(address))
    draft(cast.therapist, episode)
    assert "Draft" in body(therapist.get(address))


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


# Two versions


def with_two_versions(cast: Cast, note: VisitNote) -> VisitNote:
    """Another clinician saved after the page was opened."""
    theirs = typed(sections={Section.SUBJECTIVE: OTHER}, treatments=())
    return save_note(note=note, typed=theirs, revision=note.revision, by=cast.other_therapist)


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


# Parts kept by themselves


def test_the_precautions_are_asked_in_place(therapist: Browser, note: VisitNote) -> None:
    answer = therapist.post(
        page_of(note, "visit-precautions"), {"asked_on": str(today())}, headers=SCRIPT
    )
    assert "Asked at this visit" in body(answer)
    assert PrecautionReview.objects.get().asked_on == today()


def test_an_absolute_precaution_stops_treatment_planning_with_its_reason(
    therapist: Browser, note: VisitNote
) -> None:
    values = {"asked_on": str(today()), "yes": [Precaution.ACUTE_CLOT.value]}
    said = body(therapist.post(page_of(note, "visit-precautions"), values, headers=SCRIPT))
    assert "No treatment today" in said
    therapist.post(page_of(note, "visit-save"), posted(note))
    assert "Take the treatment out" in body(therapist.get(page_of(note, "visit-sign")))


def test_adherence_is_told_in_place(therapist: Browser, note: VisitNote) -> None:
    values = {"recorded_on": str(today()), "days_done": "6", "note": ""}
    answer = therapist.post(page_of(note, "visit-adherence"), values, headers=SCRIPT)
    assert "Kept" in body(answer)
    assert AdherenceRecord.objects.get().days_done == 6
    bad = values | {"days_done": "9"}
    answer = therapist.post(page_of(note, "visit-adherence"), bad, headers=SCRIPT)
    assert answer.status_code == 422


def test_todays_readings_are_drawn_anew(therapist: Browser, note: VisitNote) -> None:
    address = page_of(note, "visit-readings")
    assert "Not taped today" in body(therapist.get(address, headers=SCRIPT))
    make_session(note.episode, make_protocol(), taken_on=today())
    assert "Not taped today" not in body(therapist.get(address, headers=SCRIPT))


def test_the_latest_scores_stand_beside_the_note(therapist: Browser, note: VisitNote) -> None:
    keep_score(note.episode, today(), GRIP_RIGHT, "21.5")
    assert "21.5" in body(therapist.get(page_of(note)))


def test_the_measuring_screen_stands_within_the_visit(therapist: Browser, note: VisitNote) -> None:
    make_protocol()
    address = reverse("girths-enter", args=[note.episode_id])
    said = body(therapist.get(f"{address}?within=visit", headers=SCRIPT))
    assert "<html" not in said
    assert "Record session" in said


def test_a_red_flag_is_acknowledged_only_with_what_was_done(
    therapist: Browser, note: VisitNote
) -> None:
    therapist.post(page_of(note, "visit-save"), posted(note, signs=["fever"]))
    address = page_of(note, "visit-red-flag")
    answer = therapist.post(address, {"kind": "infection", "action": ""}, headers=SCRIPT)
    assert answer.status_code == 422
    assert "Write what was done" in body(answer)
    done = "Phoned the referrer, seen at two."
    answer = therapist.post(address, {"kind": "infection", "action": done}, headers=SCRIPT)
    assert done in body(answer)
    assert RedFlagSeen.objects.get().action == done
    assert therapist.post(address, {"kind": "clot", "action": done}).status_code == 302


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


# Signing


def test_the_signature_lists_what_is_missing_with_the_way_to_it(
    therapist: Browser, note: VisitNote
) -> None:
    said = body(therapist.get(page_of(note, "visit-sign")))
    assert f'href="{page_of(note)}#plan"' in said
    assert "Sign as" not in said
    answer = therapist.post(page_of(note, "visit-sign"), {"revision": note.revision})
    assert answer.status_code == 422
    note.refresh_from_db()
    assert note.state is NoteState.DRAFT


def test_a_whole_note_is_signed_as_it_was_shown(therapist: Browser, cast: Cast) -> None:
    note = ready(cast.therapist)
    said = body(therapist.get(page_of(note, "visit-sign")))
    assert f"Sign as {cast.therapist.signature}" in said
    assert PLANNED in said
    therapist.post(page_of(note, "visit-sign"), {"revision": note.revision})
    said = body(therapist.get(page_of(note)))
    assert f"Signed by {cast.therapist.signature}" in said
    assert "<textarea" in said  # the addendum's
    assert "note-form" not in said


def test_a_note_changed_since_it_was_read_is_not_signed(therapist: Browser, cast: Cast) -> None:
    note = ready(cast.therapist)
    therapist.post(page_of(note, "visit-sign"), {"revision": note.revision - 1})
    note.refresh_from_db()
    assert note.state is NoteState.DRAFT


@pytest.mark.parametrize("headers", [{}, SCRIPT], ids=["page", "script"])
def test_a_signed_note_refuses_saving_with_a_sentence(
    therapist: Browser, cast: Cast, headers: dict[str, str]
) -> None:
    note = signed(cast.therapist)
    values = posted(note, subjective=OTHER)
    answer = therapist.post(page_of(note, "visit-save"), values, headers=headers)
    assert answer.status_code == 409
    assert "cannot be changed" in body(answer)
    note.refresh_from_db()
    assert note.subjective == SAID
    assert OTHER in body(therapist.get(page_of(note)))


def test_an_addendum_stands_under_the_note(therapist: Browser, cast: Cast) -> None:
    note = signed(cast.therapist)
    address = page_of(note, "visit-addendum")
    assert therapist.post(address, {"text": " "}).status_code == 422
    therapist.post(address, {"text": OTHER})
    assert OTHER in body(therapist.get(page_of(note)))


def test_a_draft_takes_no_addendum_and_is_not_printed(therapist: Browser, note: VisitNote) -> None:
    assert therapist.post(page_of(note, "visit-addendum"), {"text": OTHER}).url == page_of(note)
    assert therapist.get(page_of(note, "visit-print")).url == page_of(note)


def test_a_students_note_waits_for_a_colleague(
    therapist: Browser, cast: Cast, lead: Browser, episode: Episode
) -> None:
    student = make_staff("stan", "Stan Reed", Role.THERAPIST, "SPT")
    User.objects.filter(pk=student.pk).update(needs_cosignature=True)
    student.refresh_from_db()
    note = signed(student, episode)
    assert "Waits for a co-signature" in body(lead.get(page_of(note)))
    lead.post(page_of(note, "visit-cosign"))
    said = body(lead.get(page_of(note)))
    assert f"Co-signed by {cast.lead.signature}" in said
    assert "Co-sign as" not in said


def test_the_paper_holds_the_note_and_its_signature(therapist: Browser, cast: Cast) -> None:
    said = body(therapist.get(page_of(signed(cast.therapist), "visit-print")))
    assert PLANNED in said
    assert cast.therapist.signature in said


def test_a_draft_is_discarded_after_a_question(therapist: Browser, note: VisitNote) -> None:
    asked(note, note.therapist)
    assert "Discard this draft?" in body(therapist.get(page_of(note, "visit-discard")))
    therapist.post(page_of(note, "visit-discard"))
    assert not VisitNote.objects.exists()


# Who may not


def test_the_front_desk_sees_no_chart_button_and_no_note(
    desk: Browser, cast: Cast, episode: Episode
) -> None:
    appointment = make_appointment(episode.client, cast.therapist, today())
    said = body(desk.get(reverse("day-sheet")))
    assert episode.client.family_name in said
    assert "data-chart" not in said
    assert desk.post(reverse("appointment-visit", args=[appointment.pk])).status_code == 403
    note = signed(cast.therapist, episode)
    for name in ("visit", "visit-save", "visit-sign", "visit-print"):
        answer = (
            desk.post(page_of(note, name))
            if name == "visit-save"
            else desk.get(page_of(note, name))
        )
        assert answer.status_code == 403
        assert SAID not in body(answer)


def test_a_note_that_is_not_there_is_a_404(therapist: Browser) -> None:
    for name in ("visit", "visit-sign", "visit-print", "visit-readings", "visit-discard"):
        assert therapist.get(reverse(name, args=[NOWHERE])).status_code == 404
    for name in ("visit-save", "visit-settle", "visit-copy", "visit-cosign", "visit-addendum"):
        assert therapist.post(reverse(name, args=[NOWHERE])).status_code == 404


def test_a_script_of_somebody_signed_out_is_told_so(note: VisitNote) -> None:
    answer = Browser().post(page_of(note, "visit-save"), posted(note), headers=SCRIPT)
    assert answer.status_code == 401
