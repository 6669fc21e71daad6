"""Each number of the practice report, worked out by hand on invented people."""

from datetime import date, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone
from scipy import stats

from clinic.clients.models import Client
from clinic.common.vocabulary import Phase
from clinic.keeping.services.merging import merge_clients
from clinic.overview.practice_report import Line, PracticeReport
from clinic.overview.report_charts import section_figure, shares_figure
from clinic.overview.report_dues import Kept
from clinic.overview.report_facts import PeriodFacts
from clinic.overview.report_limb_rules import Detection, Look, Outcome, detection
from clinic.overview.report_period import Period
from clinic.overview.report_selectors import facts_of, report_on
from clinic.scheduling.models import RecallSchedule
from clinic.scheduling.states import Status
from measurements.limb.comparison import Judged
from measurements.models import Protocol
from programmes.models import AdherenceRecord
from tests.builders import make_episode, make_protocol
from tests.cast import Cast
from tests.clinic.overview.report_stories import (
    NOW,
    SUMMER,
    appointments,
    letter,
    moved,
    opened,
    registered,
    taped,
    treated,
)


def facts() -> PeriodFacts:
    """What was counted in the summer, small groups not yet hidden."""
    return facts_of((SUMMER, SUMMER.previous), now=NOW)[0]


def lines(section: str) -> dict[str, Line]:
    report: PracticeReport = report_on(SUMMER, now=NOW)
    (found,) = (each for each in report.sections if each.key == section)
    return {line.name: line for line in found.lines}


@pytest.fixture
def protocol(db: None) -> Protocol:
    return make_protocol()


def test_the_wait_is_from_registering_to_the_first_episode_only(cast: Cast) -> None:
    evaluated_on = date(2026, 7, 20)
    for days in range(1, 10):
        client = registered(evaluated_on - timedelta(days=days))
        make_episode(client, cast.therapist, opened_on=evaluated_on)
        make_episode(client, cast.therapist, opened_on=date(2026, 9, 1))  # a later one: no wait
    late = registered(date(2026, 8, 1))
    make_episode(late, cast.therapist, opened_on=evaluated_on)
    wait = lines("evaluations")["Time from referral to evaluation"].now
    # 1 to 9 days: the middle one is 5; ranks 2 and 8 of 9 bound it; the quartiles are 3 and 7.
    assert (wait.count.text, wait.median) == ("9", 5)
    assert (wait.interval.low, wait.interval.high) == (2, 8)
    assert (wait.quartiles.low, wait.quartiles.high) == (3, 7)
    assert facts().registered_later == 1


def test_the_reduction_is_that_of_the_excess_from_first_to_last_taping(
    cast: Cast, protocol: Protocol
) -> None:
    """Cylinders of 40 cm: an excess goes with the square of the girth less 20 squared.

    Girth 22: 84. Then 21 leaves 41, 20.5 leaves 20.25, 22 leaves 84, 20 leaves 0.
    """
    for *between, last in ((21.5, 21), (21,), (21,), (20.5,), (22,), (20,)):
        treated(cast.therapist, protocol, 22, *between, last)
    treated(cast.therapist, protocol, 20, 20)  # nothing to reduce
    treated(cast.therapist, protocol, 22)  # taped once
    treated(cast.therapist, protocol, 22, 21, ended_on=date(2026, 10, 1))  # another period
    found = sorted(each.percent for _, each in facts().reductions if each.percent is not None)
    by_hand = [0, *[100 * 43 / 84] * 3, 100 * 63.75 / 84, 100]
    assert found == pytest.approx(by_hand)
    outcomes = [each.outcome for _, each in facts().reductions]
    assert {outcome: outcomes.count(outcome) for outcome in Outcome} == {
        Outcome.FELL: 5,
        Outcome.NOT_FALLEN: 1,
        Outcome.NO_CLEAR_EXCESS: 1,
        Outcome.NOT_COMPARABLE: 1,
    }
    shown = lines("intensive")
    assert shown["Excess reduction"].now.median == pytest.approx(100 * 43 / 84)
    assert shown["Excess reduction"].now.count.text == "6 to 9"
    assert shown["Excess reduction"].now.interval is None  # six people
    assert shown["Limbs in intensive phases that ended"].now.text == "8 to 17"


def test_a_taping_after_the_phase_or_struck_out_counts_for_nothing(
    cast: Cast, protocol: Protocol
) -> None:
    episode = treated(cast.therapist, protocol, 22, 21)
    taped(episode, protocol, date(2026, 9, 3), 20)
    wrong = taped(episode, protocol, date(2026, 8, 3), 20)
    wrong.struck_at, wrong.struck_by, wrong.struck_reason = NOW, cast.therapist, "other client"
    wrong.save()
    ((_, only),) = facts().reductions
    assert only.percent == pytest.approx(100 * 43 / 84)


def test_a_phase_put_right_on_the_same_day_never_was(cast: Cast, protocol: Protocol) -> None:
    """A slip of the hand is neither early treatment nor an intensive phase, and ends none."""
    watched = opened(date(2026, 1, 5), cast.therapist, Phase.SURVEILLANCE)
    for phase in (Phase.INTENSIVE, Phase.SURVEILLANCE):
        moved(watched, phase, date(2026, 7, 7))
    episode = opened(date(2026, 7, 6), cast.therapist)
    taped(episode, protocol, date(2026, 7, 6), 22)
    for phase in (Phase.MAINTENANCE, Phase.INTENSIVE):
        moved(episode, phase, date(2026, 7, 13))
    taped(episode, protocol, date(2026, 8, 3), 21)
    moved(episode, Phase.MAINTENANCE, date(2026, 8, 20))
    assert facts().moved_to_intensive == 0
    ((_, only),) = facts().reductions
    assert only.percent == pytest.approx(100 * 43 / 84)  # from the first taping, of 6 July


def test_early_detections_are_limbs_above_three_percent_for_the_first_time(
    cast: Cast, protocol: Protocol
) -> None:
    """RVC of cylinders, other arm unchanged: 21 against 20 is 10.25 %, 20.1 is 1.0 %.

    Limit: Stout Gergich et al., Cancer 2008;112:2809-2819, above 3 % of baseline.
    """
    for spring_cm, summer_cm in ((20, 21), (20, 20.1), (21, 21)):
        episode = opened(date(2026, 1, 5), cast.therapist, Phase.SURVEILLANCE)
        taped(episode, protocol, episode.opened_on, 20, is_baseline=True)
        taped(episode, protocol, date(2026, 4, 6), spring_cm)
        taped(episode, protocol, date(2026, 7, 6), summer_cm)
        moved(episode, Phase.INTENSIVE, date(2026, 7, 6))  # on the very day
    unjudged = opened(date(2026, 1, 5), cast.therapist, Phase.SURVEILLANCE)
    taped(unjudged, protocol, date(2026, 7, 6), 21)  # no baseline
    treated(cast.therapist, protocol, 22, 21)  # not under surveillance
    assert facts().detections == {
        Detection.NEW: 1,
        Detection.NONE: 1,
        Detection.KNOWN: 1,
        Detection.NOT_JUDGED: 1,
    }
    assert facts().moved_to_intensive == 3


def test_what_was_taped_before_a_baseline_chosen_later_is_not_judged(
    cast: Cast, protocol: Protocol
) -> None:
    episode = opened(date(2026, 1, 5), cast.therapist, Phase.SURVEILLANCE)
    taped(episode, protocol, date(2026, 7, 6), 21)
    taped(episode, protocol, date(2026, 10, 6), 20, is_baseline=True)
    assert facts().detections == {Detection.NOT_JUDGED: 1}


def test_a_rise_known_before_the_period_is_known_whatever_stands_beside_it(
    cast: Cast, protocol: Protocol
) -> None:
    """Above the limit in spring, while treated; back under surveillance and above in summer."""
    episode = opened(date(2026, 1, 5), cast.therapist, Phase.SURVEILLANCE)
    taped(episode, protocol, episode.opened_on, 20, is_baseline=True)
    moved(episode, Phase.INTENSIVE, date(2026, 2, 2))
    taped(episode, protocol, date(2026, 4, 6), 21)
    moved(episode, Phase.SURVEILLANCE, date(2026, 5, 4))
    taped(episode, protocol, date(2026, 7, 6), 21)
    autumn = facts_of((SUMMER.following, SUMMER), now=NOW)[1]
    assert facts().detections == autumn.detections == {Detection.KNOWN: 1}


def test_a_record_merged_into_another_is_the_same_person_referred_once(cast: Cast) -> None:
    older, kept = registered(date(2026, 7, 3)), registered(date(2026, 7, 20))
    make_episode(kept, cast.therapist, opened_on=date(2026, 7, 23))
    merge_clients(kept=kept, other=older, taking=(), by=cast.lead)
    assert sum(facts().referrals.values()) == 1
    assert facts().evaluation_days == [20]  # from the day the person was first registered


def test_above_the_limit_within_error_is_told_apart() -> None:
    look = Look(SUMMER.from_on, Judged(3.5, 2.0))  # 1.96 standard errors are 3.92
    assert detection([look], SUMMER, first_above_on=SUMMER.from_on) is Detection.NEW_WITHIN


def test_re_measurements_are_held_against_the_recall_rules(cast: Cast, protocol: Protocol) -> None:
    """Taped on 5 May: due on 5 August by the usual three months, on 5 July by two."""
    for next_on in (date(2026, 8, 5), date(2026, 8, 6), date(2026, 9, 5)):
        episode = opened(date(2026, 5, 5), cast.therapist, Phase.SURVEILLANCE)
        taped(episode, protocol, next_on, 20)
    sooner = opened(date(2026, 5, 5), cast.therapist, Phase.SURVEILLANCE)
    RecallSchedule.objects.create(episode=sooner, every_months=2, by=cast.therapist)
    taped(sooner, protocol, date(2026, 7, 5), 20)  # and due again on 5 September: missed
    gone = opened(date(2026, 5, 5), cast.therapist, Phase.SURVEILLANCE)
    Client.objects.filter(pk=gone.client_id).update(
        deactivated_at=NOW, deactivated_reason="moved away"
    )
    assert facts().measured == {Kept.ON_TIME: 2, Kept.LATE: 1, Kept.MISSED: 2}


def test_no_shows_are_a_share_of_kept_and_missed(cast: Cast) -> None:
    outcomes = [Status.DONE] * 20 + [Status.NO_SHOW] * 5 + [Status.CANCELLED_EARLY] * 6
    client = registered(date(2026, 6, 1))
    appointments(client, cast.therapist, *outcomes, Status.BOOKED)
    shown = lines("visits")
    share = shown["No-show share"].now
    assert (share.count.text, share.of.text, share.percent) == ("5", "25", 20)
    expected = stats.binomtest(5, 25).proportion_ci(method="wilson")
    assert share.interval.low == pytest.approx(100 * expected.low, abs=1e-3)
    assert share.interval.high == pytest.approx(100 * expected.high, abs=1e-3)
    assert shown["Visits"].now.text == shown["Treatment"].now.text == "20"
    assert shown["Cancelled in time"].now.text == "6"
    assert shown["Outcome not noted"].now.text == "<5"
    assert shown["No-show share"].before.interval is None  # nobody was booked in spring


def test_open_episodes_are_counted_by_the_phase_of_the_last_day(cast: Cast) -> None:
    for ended_on in (date(2026, 9, 30), date(2026, 10, 1)):
        moved(opened(date(2026, 7, 6), cast.therapist), Phase.DISCHARGED, ended_on)
    gone = opened(date(2026, 7, 6), cast.therapist)
    Client.objects.filter(pk=gone.client_id).update(
        deactivated_at=timezone.make_aware(timezone.datetime(2026, 9, 1)),
        deactivated_reason="moved away",
    )
    opened(date(2026, 10, 5), cast.therapist)
    assert facts().phases == {Phase.INTENSIVE: 1, Phase.DISCHARGED: 1}


def test_adherence_is_what_each_client_told_last(cast: Cast) -> None:
    for days in (7, 6, 4, 3, 2):
        episode = opened(date(2026, 6, 1), cast.therapist)
        for on, told in ((date(2026, 7, 1), 0), (date(2026, 9, 1), days), (date(2026, 10, 1), 1)):
            AdherenceRecord.objects.create(
                episode=episode, recorded_on=on, days_done=told, recorded_by=cast.therapist
            )
    assert lines("programmes")["Adherence"].now.median == 4


def test_letters_are_on_time_within_fourteen_days_and_overdue_when_owed(cast: Cast) -> None:
    """Monthly letters: after 31 July the next is due on 31 August, overdue after 14 September."""
    prompt, owed, unseen = (opened(date(2026, 7, 1), cast.therapist) for _ in range(3))
    letter(prompt, reported_to=date(2026, 8, 31), approved_on=date(2026, 9, 14))
    letter(owed, reported_to=date(2026, 7, 31), approved_on=date(2026, 8, 15))
    letter(unseen, reported_to=date(2026, 7, 31), approved_on=date(2026, 8, 1))
    # Treated until 5 August; the third was not seen since its letter.
    appointments(prompt.client, cast.therapist, *[Status.DONE] * 36)
    appointments(owed.client, cast.other_therapist, *[Status.DONE] * 36)
    assert facts().letters == (2, 1)
    assert facts().letters_overdue == 1


def test_charts_show_what_the_tables_show(cast: Cast) -> None:
    for _ in range(6):
        opened(date(2026, 7, 6), cast.therapist)
    for _ in range(2):
        opened(date(2026, 7, 6), cast.therapist, Phase.SURVEILLANCE)
    client = Client.objects.order_by("pk")[0]
    appointments(client, cast.therapist, *[Status.DONE] * 20, *[Status.NO_SHOW] * 5)
    report = report_on(SUMMER, now=NOW)
    (episodes,) = (each for each in report.sections if each.key == "episodes")
    figure = section_figure(episodes, report)
    assert figure
    now, before = figure["data"]
    assert (now["name"], before["name"]) == ("July to September 2026", "April to June 2026")
    assert dict(zip(now["y"], now["text"], strict=True)) == {"Surveillance": "<5", "Intensive": "6"}
    assert now["x"] == [0, 6]  # what is hidden has no length
    shares = shares_figure(report)
    assert shares
    assert shares["data"][0]["x"] == [20.0]


def test_a_chart_in_which_every_count_is_hidden_is_not_drawn(cast: Cast) -> None:
    opened(date(2026, 7, 6), cast.therapist)
    opened(date(2026, 7, 6), cast.therapist, Phase.SURVEILLANCE)
    report = report_on(SUMMER, now=NOW)
    (episodes,) = (each for each in report.sections if each.key == "episodes")
    assert len(episodes.parts) > 1
    assert section_figure(episodes, report) is None


def test_the_number_of_queries_does_not_grow(cast: Cast, protocol: Protocol) -> None:
    def summer() -> None:
        treated(cast.therapist, protocol, 22, 21)
        episode = opened(date(2026, 1, 5), cast.therapist, Phase.SURVEILLANCE)
        taped(episode, protocol, episode.opened_on, 20, is_baseline=True)
        taped(episode, protocol, date(2026, 7, 6), 21)

    def asked() -> int:
        with CaptureQueriesContext(
            connection,
        ) as queries:
            report_on(SUMMER, now=NOW)
        return len(queries)

    summer()
    alone = asked()
    for _ in range(4):
        summer()
    assert asked() == alone <= 29


def test_a_free_period_is_held_against_as_many_days_before(cast: Cast) -> None:
    registered(date(2026, 7, 9))
    registered(date(2026, 6, 9))
    month = Period(date(2026, 7, 10), date(2026, 8, 8))  # 30 days; before: from 10 June
    now, before = facts_of((month, month.previous), now=NOW)
    assert sum(now.referrals.values()) == 0
    assert sum(before.referrals.values()) == 1
