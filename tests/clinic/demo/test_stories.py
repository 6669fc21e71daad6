"""Each story of the invented clinic is there, and its numbers tell it."""

from datetime import timedelta
from itertools import pairwise

import pytest
from django.utils import timezone

from clinic.accounts.models import User
from clinic.audit.models import Entry
from clinic.clients.duplicates import FullName, likeness
from clinic.clients.models import Client, Episode
from clinic.common.print import can_print
from clinic.common.vocabulary import Limb, Phase, Posture, Precaution, Region, Role, Side
from clinic.demo import scenario
from clinic.demo.scenario import demo_id
from clinic.keeping.models import Merge
from clinic.letters import story_words
from clinic.letters.models import ProgressLetter, RunLetter
from measurements.limb.comparison import (
    Comparison,
    Verdict,
    change_since,
    compare_limbs,
    excess_change,
    relative_change_since,
    shared_section,
)
from measurements.limb.girth import LimbGirths, Reading, check_readings, limb_girths
from measurements.models import GirthDraft, GirthSession, LimbFindings, Protocol
from programmes.models import Programme
from tests.clinic.demo.conftest import TODAY

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("loaded")]

# Plausible girths in cm: measurement practice without source, as the entry screen asks.
PLAUSIBLE = {Limb.ARM: (10, 80), Limb.LEG: (12, 150)}

# Stout Gergich et al., Cancer 2008;112:2809-2819: treat early above 3 % of baseline.
EARLY_PERCENT = 3


def episode(story: str) -> Episode:
    return Episode.objects.get(pk=demo_id("episode", story))


def sessions(story: str) -> list[GirthSession]:
    live = episode(story).girth_sessions.filter(struck_at=None).order_by("taken_on")
    return list(live.prefetch_related("readings").select_related("protocol"))


def readings(session: GirthSession) -> list[Reading]:
    return [
        Reading(Side(row.side), float(row.level_cm), float(row.girth_cm), row.trial)
        for row in session.readings.all()
    ]


def limb(session: GirthSession, side: Side) -> LimbGirths:
    mark = session.protocol.start_landmark
    return limb_girths(readings(session), side, zero_mark=mark)


def comparisons(story: str, side: Side) -> list[Comparison]:
    taped = [(limb(each, side), limb(each, side.other)) for each in sessions(story)]
    section = shared_section(*(each for pair in taped for each in pair))
    return [compare_limbs(own, other, section=section) for own, other in taped]


def excesses_ml(story: str, side: Side) -> list[float]:
    return [each.excess_ml for each in comparisons(story, side)]


def phase(story: str) -> str:
    return episode(story).phase_changes.order_by("since_on", "pk").last().phase


def test_about_forty_clients_came_within_two_years() -> None:
    persons = Client.objects.filter(merged_into=None)
    assert persons.count() == len(scenario.stories()) == 43
    opened = Episode.objects.order_by("opened_on").values_list("opened_on", flat=True)
    assert TODAY - timedelta(days=730) < opened[0] < TODAY - timedelta(days=600)
    assert opened[42] == TODAY


def test_a_client_registered_twice_is_one_record_again() -> None:
    merge = Merge.objects.get()
    assert merge.kept_id == scenario.stories()[0].client_id
    assert merge.other.merged_into_id == merge.kept_id
    said = Entry.objects.filter(verb="client.merged").values_list("client", flat=True)
    assert set(said) == {merge.kept_id, merge.other_id}


def test_every_story_was_played_whole() -> None:
    for story in scenario.stories():
        client = Client.objects.get(pk=story.client_id)
        found = client.episodes.get()
        done = (
            client.surgeries.count()
            + client.node_surgeries.count()
            + client.irradiations.count()
            + client.drug_treatments.count()
        )
        assert done == len(story.treatments), story.name
        assert client.precautions.count() == len(story.precautions), story.name
        assert found.phase_changes.count() == len(story.phases), story.name
        assert found.girth_sessions.count() == sum(len(each.days) for each in story.tapings)
        looks = LimbFindings.objects.filter(region__episode=found).count()
        assert looks == len(story.findings), story.name


def test_nothing_lies_in_the_future_or_on_a_weekend() -> None:
    days = list(GirthSession.objects.values_list("taken_on", flat=True))
    days += Episode.objects.values_list("opened_on", flat=True)
    assert max(days) <= TODAY
    assert {day.weekday() for day in days} == {0, 1, 2, 3, 4}


def test_every_session_is_one_that_could_have_been_typed() -> None:
    for session in GirthSession.objects.prefetch_related("readings", "protocol__stations"):
        levels = [float(station.level_cm) for station in session.protocol.stations.all()]
        check_readings(readings(session), levels_cm=levels)


def test_no_girth_is_implausible() -> None:
    for session in GirthSession.objects.prefetch_related("readings").select_related("protocol"):
        low, high = PLAUSIBLE[Limb(session.limb)]
        for side in Side:
            girths = limb(session, side).girths_cm
            assert low < min(girths)
            assert max(girths) < high
            assert all(abs(one - other) < 0.4 * one for one, other in pairwise(girths))


def test_early_detection_crosses_three_percent_beyond_error_only_at_the_end() -> None:
    first, *later = comparisons("early_detection", Side.RIGHT)
    changes = [relative_change_since(each, first) for each in later]
    assert changes[-1].value > EARLY_PERCENT
    assert changes[-1].verdict is Verdict.BEYOND_ERROR_UP
    assert all(change.value < EARLY_PERCENT for change in changes[:-1])
    assert phase("early_detection") == Phase.SURVEILLANCE


def test_the_intensive_course_falls_fast_then_slower() -> None:
    excess = excesses_ml("intensive_course", Side.LEFT)
    assert excess[-1] < 0.5 * excess[0]
    falls = [before - after for before, after in pairwise(excess)]
    assert falls[0] + falls[1] > 0.5 * sum(falls)
    gaps = {(b.taken_on - a.taken_on).days for a, b in pairwise(sessions("intensive_course"))}
    assert max(gaps) <= 8


def test_the_plateau_has_three_last_changes_within_error() -> None:
    course = comparisons("plateau", Side.RIGHT)
    last = [excess_change(now, then) for then, now in pairwise(course[-4:])]
    assert [change.verdict for change in last] == [Verdict.WITHIN_ERROR] * 3
    assert excess_change(course[-1], course[0]).verdict is Verdict.BEYOND_ERROR_DOWN


@pytest.mark.parametrize("story", ["bilateral_arms", "bilateral_legs"])
def test_both_limbs_of_a_bilateral_client_fell_beyond_error(story: str) -> None:
    taped = sessions(story)
    for side in Side:
        change = change_since(limb(taped[5], side), limb(taped[0], side))
        assert change.verdict is Verdict.BEYOND_ERROR_DOWN
    assert {region.side for region in episode(story).regions.filter(involvement="swollen")} >= {
        "left",
        "right",
    }


def test_the_leg_after_groin_dissection_halved_its_excess() -> None:
    excess = excesses_ml("leg_after_groin", Side.LEFT)
    assert 0 < excess[6] < 0.55 * excess[0]
    nodes = episode("leg_after_groin").client.node_surgeries.get(procedure="full")
    assert (nodes.basin, nodes.side) == ("groin", "left")


def test_the_worsening_arm_rose_beyond_error_twice() -> None:
    course = comparisons("worsening", Side.LEFT)
    assert excess_change(course[-1], course[0]).verdict is Verdict.BEYOND_ERROR_UP
    assert excess_change(course[-1], course[2]).verdict is Verdict.BEYOND_ERROR_UP


def test_cellulitis_broke_the_course_off_and_it_was_resumed() -> None:
    course = comparisons("cellulitis_interruption", Side.RIGHT)
    ill = 3
    assert excess_change(course[ill], course[ill - 1]).verdict is Verdict.BEYOND_ERROR_UP
    assert excess_change(course[-1], course[0]).verdict is Verdict.BEYOND_ERROR_DOWN
    found = episode("cellulitis_interruption")
    infection = found.client.precautions.get(precaution=Precaution.UNTREATED_INFECTION)
    assert infection.found_on == sessions("cellulitis_interruption")[ill].taken_on
    assert infection.cleared_on > infection.found_on
    phases = list(found.phase_changes.order_by("since_on").values_list("phase", flat=True))
    assert phases == ["intensive", "maintenance", "intensive"]


def test_the_lost_client_stopped_in_the_middle_of_a_course() -> None:
    assert phase("lost_to_follow_up") == Phase.INTENSIVE
    assert TODAY - sessions("lost_to_follow_up")[-1].taken_on > timedelta(days=180)


@pytest.mark.parametrize(
    ("story", "side"),
    [("at_risk_only", Side.LEFT), ("watched_1", Side.LEFT), ("leg_at_risk", Side.RIGHT)],
)
def test_who_is_only_at_risk_never_changes_beyond_error(story: str, side: Side) -> None:
    first, *later = comparisons(story, side)
    assert not [each for each in later if relative_change_since(each, first).beyond_error]
    swollen = episode(story).regions.filter(involvement="swollen")
    assert not swollen.exists()


def test_the_clot_shows_as_a_jump_within_two_weeks() -> None:
    """10 % and beyond error in under two weeks asks for a clinician the same day."""
    before, ill = sessions("clot")[-2:]
    change = change_since(limb(ill, Side.LEFT), limb(before, Side.LEFT))
    assert change.verdict is Verdict.BEYOND_ERROR_UP
    assert change.percent is not None
    assert change.percent > 10
    assert (ill.taken_on - before.taken_on).days < 14
    open_now = episode("clot").client.precautions.filter(cleared_on=None)
    assert [each.precaution for each in open_now] == [Precaution.ACUTE_CLOT]


def test_one_episode_has_no_baseline_because_it_was_struck() -> None:
    taped = episode("no_baseline").girth_sessions
    assert not taped.filter(is_baseline=True, struck_at=None).exists()
    assert taped.get(struck_at__isnull=False).struck_reason
    without = Episode.objects.exclude(girth_sessions__is_baseline=True)
    assert {each.pk for each in without} == {
        demo_id("episode", story) for story in ("head_and_neck", "new_today")
    }


def test_inches_convert_to_eighths() -> None:
    for session in sessions("typed_in_inches"):
        for reading in readings(session):
            eighths = reading.girth_cm / 2.54 * 8
            assert eighths == pytest.approx(round(eighths), abs=0.02)


def test_a_protocol_was_superseded_between_two_sessions() -> None:
    used = [session.protocol for session in sessions("superseded_protocol")]
    assert used[-1].supersedes == used[0] != used[-1]
    assert used[0].retired_at is not None
    assert used[-1].stations.count() == used[0].stations.count() + 1
    assert len(comparisons("superseded_protocol", Side.LEFT)) == 6


def test_protocols_of_four_and_ten_cm_serve_arms_and_legs() -> None:
    used = set(Protocol.objects.exclude(sessions=None).values_list("name", flat=True))
    assert used >= {f"{limb}, every {step} cm" for limb in ("Arm", "Leg") for step in (4, 10)}
    assert {session.posture for session in GirthSession.objects.all()} == set(Posture)


def test_a_stage_was_decided_against_the_suggestion_with_a_reason() -> None:
    row = LimbFindings.objects.get(
        region__episode=episode("stage_overridden"), override_reason__gt=""
    )
    assert (row.suggested_stage, row.stage) == ("II", "I")


def test_stages_run_from_zero_to_three() -> None:
    assert set(LimbFindings.objects.values_list("stage", flat=True)) == {
        "0",
        "I",
        "II",
        "late_II",
        "III",
    }


def test_unfinished_girths_wait() -> None:
    draft = GirthDraft.objects.get()
    assert draft.episode == episode("unfinished_girths")
    assert draft.typed["girth-right-16-1"] == "23.6"


def test_letters_are_approved_drafted_and_due() -> None:
    written = ProgressLetter.objects.filter(run_row=None)  # not those of the monthly run
    letters = {each.episode_id: each for each in written}
    assert letters.pop(demo_id("episode", "worsening")).approved_at is None
    assert demo_id("episode", "letter_due") not in letters
    wanted = [
        demo_id("episode", story.name)
        for story in scenario.stories()
        if any(each["approved"] for each in story.letters)
    ]
    assert set(letters) == (set(wanted) if can_print() else set())
    assert all(bytes(each.pdf).startswith(b"%PDF") for each in letters.values())


def test_a_month_is_reviewed_in_part() -> None:
    states = set(RunLetter.objects.values_list("state", flat=True))
    wanted = {"compiled", "held", "skipped", "not_owed"}
    assert states == (wanted if can_print() else set())
    approved = RunLetter.objects.filter(letter__approved_at__isnull=False)
    assert approved.count() == (3 if can_print() else 0)


def test_a_month_holds_letters_that_ask_for_something() -> None:
    told = dict(RunLetter.objects.exclude(story="").values_list("episode", "story"))
    if can_print():
        assert told[demo_id("episode", "watched_5")] == "early_detection"
        assert told[demo_id("episode", "primary")] == "worsening"
        assert told[demo_id("episode", "plateau")] == "plateau"


def test_a_month_holds_every_story() -> None:
    told = set(RunLetter.objects.values_list("story", flat=True))
    if can_print():
        assert told >= {each.value for each in story_words.Story}


def test_home_programmes_were_handed_out_over_the_last_three_months() -> None:
    issued = [
        (TODAY - timezone.localdate(at)).days
        for at in Programme.objects.values_list("issued_at", flat=True)
    ]
    if can_print():
        for first, last in ((0, 30), (30, 60), (60, 90)):
            assert any(first < days <= last for days in issued)


def test_every_region_side_and_cause_has_somebody() -> None:
    regions = {(each.region, each.side) for each in _regions()}
    assert {region for region, _ in regions} == set(Region)
    assert {("arm", "left"), ("arm", "right"), ("leg", "left"), ("leg", "right")} <= regions
    causes = set(Episode.objects.values_list("cause", flat=True))
    assert causes >= {"primary", "venous", "trauma_surgery", "cancer_treatment", "infection"}


def _regions() -> list[object]:
    return [region for each in Episode.objects.all() for region in each.regions.all()]


def test_primary_lymphedema_has_no_cancer_behind_it() -> None:
    found = episode("primary")
    assert found.diagnosis == "Q82.0"
    assert not found.client.node_surgeries.exists()


def test_the_discharged_client_ended_smaller_than_at_the_start() -> None:
    course = comparisons("discharged", Side.RIGHT)
    assert excess_change(course[-1], course[0]).verdict is Verdict.BEYOND_ERROR_DOWN
    assert phase("discharged") == Phase.DISCHARGED


def test_two_clients_are_nearly_duplicates() -> None:
    one, other = (
        Client.objects.get(pk=demo_id("client", f"near_duplicate_{name}"))
        for name in ("one", "two")
    )
    assert one.born_on == other.born_on
    names = [FullName(each.given_name, each.family_name) for each in (one, other)]
    assert likeness(*names) is not None


def test_every_role_has_an_account_and_one_therapist_needs_a_co_signature() -> None:
    roles = sorted(User.objects.values_list("role", flat=True))
    assert roles == [Role.CLINIC_LEAD, Role.FRONT_DESK, *[Role.THERAPIST] * 3]
    assert User.objects.get(needs_cosignature=True).sign_in_name == "joss"
