"""The invented clinic has charted: notes, plans, scores, garments, and three visits that wait."""

from collections import Counter
from io import StringIO

import pytest
from django.core.management import call_command

from clinic.accounts.models import User
from clinic.clients.models import Episode
from clinic.common.vocabulary import Phase
from clinic.demo.clock import nth_working_day
from clinic.demo.scenario import demo_id
from clinic.scheduling.models import Appointment
from clinic.scheduling.ranges import wall
from clinic.scheduling.states import Status
from clinic.visits.models import VisitNote
from clinic.visits.plan_dates import PlanWarning
from clinic.visits.plan_pdf import check_fits
from clinic.visits.plans import PlanOfCare
from clinic.visits.red_flags import RedFlagKind
from clinic.visits.selectors.filling import day
from clinic.visits.selectors.notes import notes_for, unsigned_notes, visit_desk
from clinic.visits.selectors.plan_facts import plan_standing
from clinic.visits.selectors.plan_sheets import sheet_of
from clinic.visits.selectors.plans import plan_card
from clinic.visits.services.notes import begin_note
from clinic.visits.words import NoteState, VisitKind
from measurements.limb.course import DecongestionVerdict
from measurements.report import PhaseDecongestion
from measurements.selectors.reports import episode_course
from measurements.selectors.scores import latest_scores
from programmes.compression.words import FitSeen
from programmes.models import BandageRecord, FitCheck, Garment, SizeChart
from tests.clinic.demo.conftest import TODAY

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("loaded")]

TO_CHART = {
    "new_today": VisitKind.EVALUATION,
    "ninth_day": VisitKind.TREATMENT,
    "sudden_rise": VisitKind.REMEASUREMENT,
}


def episode(story: str) -> Episode:
    return Episode.objects.select_related("client", "therapist").get(pk=demo_id("episode", story))


def warnings(story: str) -> set[PlanWarning]:
    return set(plan_standing(episode(story), TODAY).warnings)


def course(story: str) -> PhaseDecongestion:
    (limb,) = episode_course(episode(story))
    return limb.decongestion[-1]


def waiting_visits() -> dict[str, Appointment]:
    found = {}
    for story in TO_CHART:
        own = Appointment.objects.filter(client=demo_id("client", story), note=None)
        (found[story],) = (one for one in own if wall(one.period.lower).date() == TODAY)
    return found


def test_the_demo_holds_three_visits_to_chart_today() -> None:
    for story, appointment in waiting_visits().items():
        assert appointment.status in {Status.ARRIVED, Status.CONFIRMED}
        assert appointment.kind.purpose == TO_CHART[story]
        assert appointment.therapist.sign_in_name == "tomas"
        note = begin_note(
            episode=episode(story),
            kind=TO_CHART[story],
            visited_on=TODAY,
            by=appointment.therapist,
            appointment=appointment,
        )
        assert note.state is NoteState.DRAFT


def test_every_seal_holds() -> None:
    call_command("verify_notes", stdout=(said := StringIO()))
    assert "All as signed." in said.getvalue()
    signed = VisitNote.objects.filter(signed_at__isnull=False)
    assert signed.count() >= 25
    assert not signed.filter(is_late_entry=True).exists()


def test_every_done_visit_of_earlier_days_has_a_note() -> None:
    done = Appointment.objects.filter(status=Status.DONE, period__endswith__date__lt=TODAY)
    assert done.count() == VisitNote.objects.count()
    assert not done.filter(note=None).exists()
    for note in VisitNote.objects.exclude(signed_at=None).select_related("appointment"):
        assert note.appointment is not None
        assert note.signed_at is not None
        assert note.signed_at >= note.appointment.period.upper


def test_one_note_is_open_one_waits_for_a_co_signature_and_one_was_added_to() -> None:
    states = Counter(note.state for note in VisitNote.objects.all())
    assert states[NoteState.DRAFT] == states[NoteState.AWAITING_COSIGNATURE] == 1
    lead = User.objects.get(sign_in_name="leonie")
    assert {note.state for note in unsigned_notes(lead)} == {
        NoteState.DRAFT,
        NoteState.AWAITING_COSIGNATURE,
    }
    assert VisitNote.objects.filter(cosigned_at__isnull=False).count() == 1
    added = VisitNote.objects.get(addenda__isnull=False)
    assert added.addenda.get().written_at > added.signed_at


def test_no_note_tells_what_was_found_after_its_visit() -> None:
    """Sealed blocks name days; the evaluation of the ninth-day client has one look, its own."""
    first = episode("ninth_day").notes.order_by("visited_on").first()
    assert first is not None
    assert first.signed is not None
    said = str(first.signed["shown"]["blocks"])
    on = nth_working_day(TODAY, -1)
    assert first.visited_on == nth_working_day(TODAY, -8)
    assert f"found on {day(on)}" not in said
    assert f"found on {day(first.visited_on)}" in said


def test_plans_ask_for_a_certification_a_report_and_a_renewal() -> None:
    assert warnings("stage_three") == {PlanWarning.STILL_OPEN}
    assert warnings("plateau") == {PlanWarning.RECERTIFY_SOON}
    assert warnings("intensive_course") == {PlanWarning.REPORT_OVERDUE}
    assert warnings("ninth_day") == {PlanWarning.REPORT_SOON}


def test_goals_are_tied_to_what_was_measured() -> None:
    rows = plan_card(episode("intensive_course"), on=TODAY).goals
    assert all(row.goal.baseline is not None and row.standing is not None for row in rows)
    assert rows[1].status == "met"


def test_every_plan_fits_on_the_page_that_is_signed() -> None:
    for plan in PlanOfCare.objects.all():
        check_fits(sheet_of(plan))


def test_the_ninth_day_nears_a_plateau_and_the_fourth_is_too_early_to_tell() -> None:
    ninth, fourth = course("ninth_day"), course("fourth_day")
    assert ninth.found.told is not None
    assert ninth.found.verdict in {
        DecongestionVerdict.AT_PLATEAU,
        DecongestionVerdict.STILL_FALLING,
    }
    assert fourth.found.verdict is DecongestionVerdict.TOO_EARLY
    assert plan_standing(episode("ninth_day"), TODAY).treatment_days == 8


def test_todays_taping_of_the_watched_client_is_a_red_flag() -> None:
    found = episode("sudden_rise")
    note = begin_note(
        episode=found, kind=VisitKind.REMEASUREMENT, visited_on=TODAY, by=found.therapist
    )
    desk = visit_desk(notes_for(found.therapist).get(pk=note.pk), found.therapist)
    assert [each.flag.kind for each in desk.open_red_flags] == [RedFlagKind.SUDDEN_RISE]
    assert desk.phase is Phase.SURVEILLANCE


def test_scores_run_over_time_for_several_clients() -> None:
    scored = [story for story in ("ninth_day", "intensive_course", "plateau", "letter_due")]
    for story in scored:
        standings = latest_scores(episode(story))
        assert standings, story


def test_a_garment_is_due_soon_and_one_did_not_fit() -> None:
    days = [(each.replacement_due_on - TODAY).days for each in Garment.objects.all()]
    assert 0 < min(days) <= 14
    assert FitCheck.objects.filter(verdict=FitSeen.WRONG).count() == 1
    bandaged = BandageRecord.objects.get()
    assert bandaged.episode == episode("ninth_day")
    assert bandaged.layers.count() == 3
    assert SizeChart.objects.get().spans.count() == 12
