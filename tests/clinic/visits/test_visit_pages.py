"""The visit page: opening it, the parts that are kept by themselves, and who may not."""

import pytest
from django.test import Client as Browser
from django.urls import reverse

from clinic.clients.models import Episode
from clinic.common.vocabulary import Precaution
from clinic.scheduling.models import Appointment
from clinic.visits.models import RedFlagSeen, VisitNote
from clinic.visits.words import VisitKind
from programmes.models import AdherenceRecord, PrecautionReview
from tests.architecture.test_permits import NOWHERE
from tests.builders import make_client, make_episode, make_protocol, make_session, today
from tests.cast import Cast
from tests.clinic.scheduling.desk_stories import make_appointment
from tests.clinic.visits.charting import PLANNED, SAID, draft, signed
from tests.clinic.visits.visit_pages import SCRIPT, body, page_of, posted
from tests.measurements.score_builders import GRIP_RIGHT, keep_score

pytestmark = pytest.mark.django_db


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
    asked = body(therapist.post(address))
    assert "Which episode" in asked
    # Alike by diagnosis and day, as after a merge: the limb and the therapist tell them apart.
    for each in (episode, other):
        assert f"{each.regions.first()}; opened " in asked
        assert str(each.therapist) in asked
    therapist.post(address, {"episode": str(other.pk)})
    note = VisitNote.objects.get()
    assert note.episode == other
    assert therapist.post(address).url == page_of(note)  # it was asked once


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
