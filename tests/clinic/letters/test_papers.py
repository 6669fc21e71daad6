"""Progress reports and discharge summaries: compiled from the record, approved, kept, counted."""

import json
from datetime import timedelta

import pytest
from django.db import DatabaseError, connection, transaction
from django.test.utils import CaptureQueriesContext

from clinic.clients.models import Episode
from clinic.common.vocabulary import Phase
from clinic.letters import errors, services
from clinic.letters.clauses import day
from clinic.letters.compile import LETTER_METHOD
from clinic.letters.kinds import LetterKind
from clinic.letters.models import ProgressLetter
from clinic.letters.proposals import COME_BACK
from clinic.letters.selectors import first_period
from clinic.letters.sheet import Sheet
from clinic.letters.summary import ProgressSummary
from clinic.overview import facts as overview
from clinic.scheduling.services.recalls import set_recall_schedule
from clinic.visits.plan_dates import PlanWarning
from clinic.visits.reported import ProgressReported
from clinic.visits.selectors.plan_facts import plan_standing
from clinic.visits.words import GoalStatus
from measurements.selectors.reports import episode_course
from tests.builders import make_client, make_episode, make_referrer, today
from tests.cast import Cast
from tests.clinic.letters.care_stories import (
    ENDED,
    MINUTES_A_VISIT,
    NEED,
    RESPONSE,
    UNITS_A_VISIT,
    VISIT_DAYS,
    approved,
    discharged,
    paper,
    treated,
)
from tests.clinic.letters.stories import better, days_ago

pytestmark = pytest.mark.django_db
REPORT, DISCHARGE = LetterKind.REPORT, LetterKind.DISCHARGE


@pytest.fixture(autouse=True)
def _quick_print(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(services, "letter_pdf", lambda sheet: b"%PDF of " + sheet.digest.encode())


def summary_of(letter: ProgressLetter) -> ProgressSummary:
    return services.final_sheet(letter, letter.compiled_by).summary


def sheet_of(letter: ProgressLetter) -> Sheet:
    return services.final_sheet(letter, letter.compiled_by)


# The report


def test_a_report_counts_treatment_by_the_signed_notes_of_its_period(cast: Cast) -> None:
    letter = paper(treated(cast.therapist), REPORT, period_from=days_ago(40))
    given = summary_of(letter).care.given
    inside = [day for day in VISIT_DAYS if day <= 40]
    assert len(inside) == 6
    assert (given.days, given.days_in_all) == (6, 12)
    assert (given.first_on, given.last_on) == (days_ago(40), days_ago(5))
    told = {each.code: (each.visits, each.minutes, each.units) for each in given.services}
    assert told == {
        code: (6, 6 * MINUTES_A_VISIT[code], 6 * UNITS_A_VISIT[code]) for code in UNITS_A_VISIT
    }
    assert (given.treatment_min, given.timed_min, given.units) == (330, 330, 24)
    assert "6 treatment days from" in letter.treatment
    once = paper(treated(cast.therapist, (5,)), REPORT, period_from=days_ago(40)).treatment
    assert once.startswith(f"1 treatment day on {day(days_ago(5))}. Measured")
    assert "12 since the episode was opened" in letter.treatment


def test_a_report_sets_every_goal_and_score_against_its_certainty(cast: Cast) -> None:
    episode = treated(cast.therapist)
    letter = paper(episode, REPORT)
    care = summary_of(letter).care
    measured, told = care.goals
    point = episode_course(episode)[0].points[-1]
    assert (measured.baseline, measured.target) == (20, 10)
    assert measured.now == pytest.approx(point.percent)
    # 1.96 standard errors of this value: its 95 % interval.
    assert measured.margin == pytest.approx(1.96 * point.percent_error, rel=1e-3)
    assert measured.status is GoalStatus.OPEN
    assert "measurement error" in measured.standing
    assert (told.number, told.status) == ("1.2", GoalStatus.MET)
    assert letter.bottom_line.endswith("1 of 2 goals met, 1 open.")
    (dash,) = care.scores
    assert (dash.first, dash.now, dash.change) == (45, 30, -15)
    assert dash.beyond_error == 11.8  # BMC Musculoskelet Disord 2017;18:248
    assert dash.meaning.startswith("better")
    assert (care.plan.number, care.plan.certified_by) == (1, "Odile Farrow, MD")


def test_a_report_knows_nothing_of_what_came_after_its_period(cast: Cast) -> None:
    letter = paper(treated(cast.therapist), REPORT, period_to=days_ago(30))
    summary = summary_of(letter)
    assert summary.limbs[0].now.taken_on == days_ago(45)
    assert summary.care.goals[0].now_on == days_ago(45)
    assert summary.care.scores[0].change is None
    assert summary.care.given.last_on == days_ago(33)


def test_the_therapist_says_why_care_is_needed_and_the_note_how_it_went(cast: Cast) -> None:
    letter = paper(treated(cast.therapist), REPORT)
    assert letter.skilled_need == ""
    assert letter.response == f"{RESPONSE} Day 5."
    digest = sheet_of(letter).digest
    with pytest.raises(errors.NeedUnsaid):
        services.approve_letter(letter=letter, digest=digest, by=cast.therapist)
    assert approved(letter).skilled_need == NEED


def test_one_whose_notes_wait_for_a_cosignature_approves_no_report(cast: Cast) -> None:
    letter = paper(treated(cast.therapist, (5,)), REPORT)
    cast.therapist.needs_cosignature = True
    cast.therapist.save()
    letter.compiled_by.refresh_from_db()
    with pytest.raises(errors.MayNotApprove):
        approved(letter)


def test_a_report_is_written_without_girths_referrer_or_consent_to_letters(cast: Cast) -> None:
    alone = make_episode(make_client(), cast.therapist, opened_on=days_ago(20))
    letter = paper(alone, REPORT, period_from=days_ago(20))
    assert letter.bottom_line == "Not measured."
    assert (letter.referrer, letter.reader) == (None, "the payer")
    assert approved(letter).is_approved
    declining = make_client(referrer=make_referrer(), agrees_to_letters=False)
    episode = make_episode(declining, cast.therapist, opened_on=days_ago(20))
    assert paper(episode, REPORT, period_from=days_ago(20)).referrer is None
    with pytest.raises(errors.ClientDeclines):
        paper(episode, DISCHARGE, period_from=days_ago(20))


def test_a_report_to_the_referrer_stops_when_the_client_declines_meanwhile(cast: Cast) -> None:
    letter = paper(better(cast.therapist), REPORT)
    letter.episode.client.agrees_to_letters = False
    letter.episode.client.save()
    with pytest.raises(errors.ClientDeclines):
        approved(letter)
    assert not ProgressLetter.objects.get().is_approved


def test_an_approved_report_begins_the_count_of_treatment_days_anew(cast: Cast) -> None:
    episode = treated(cast.therapist)
    before = plan_standing(episode, today())
    assert before.report.since_last == 12
    assert PlanWarning.REPORT_OVERDUE in before.warnings
    letter = paper(episode, REPORT, period_to=days_ago(15))
    assert plan_standing(episode, today()).report.since_last == 12  # a draft reports nothing
    approved(letter)
    after = plan_standing(episode, today())
    assert after.report.since_last == 2  # the visits 12 and 5 days ago
    assert after.treatment_days == 12
    assert PlanWarning.REPORT_OVERDUE not in after.warnings
    assert first_period(episode, REPORT, today()) == (days_ago(14), today())


def test_a_letter_reports_no_treatment_day(cast: Cast) -> None:
    episode = treated(cast.therapist, (12, 5))
    approved(paper(episode, LetterKind.LETTER))
    assert plan_standing(episode, today()).report.since_last == 2
    assert not ProgressReported.objects.exists()


def test_the_next_report_is_set_against_the_last_report_not_the_last_letter(cast: Cast) -> None:
    episode = treated(cast.therapist, (5,))
    approved(paper(episode, REPORT, period_to=days_ago(44)))
    approved(paper(episode, LetterKind.LETTER, period_to=days_ago(19)))
    numbers = summary_of(paper(episode, REPORT, period_from=days_ago(43))).limbs[0]
    assert numbers.last.taken_on == days_ago(45)
    drafted = ProgressLetter.objects.get(kind=REPORT, approved_at=None)
    assert "since the last report" in drafted.bottom_line
    assert [column.heading for column in sheet_of(drafted).limbs[0].table.columns] == [
        "Baseline",
        "Last report",
        "Now",
    ]


# The discharge summary


def test_a_summary_tells_why_it_ended_and_what_the_client_goes_home_with(
    cast: Cast, monkeypatch: pytest.MonkeyPatch
) -> None:
    episode = discharged(cast.therapist, monkeypatch)
    assert first_period(episode, DISCHARGE, today()) == (days_ago(90), days_ago(2))
    letter = paper(episode, DISCHARGE, period_to=days_ago(2))
    summary = summary_of(letter)
    ending = summary.ending
    assert (ending.ended_on, ending.reason) == (days_ago(2), ENDED)
    assert (ending.opened_on, summary.phase) == (days_ago(90), Phase.DISCHARGED)
    (sleeve,) = ending.garments
    assert sleeve.words.startswith("right arm: class 2, 23 to 32 mmHg")
    assert (sleeve.worn, sleeve.issued_on) == ("by day", days_ago(10))
    assert ending.programme.number == 1
    told = "Told to the client: By day: put on your right sleeve (class 2) in the morning."
    assert told in letter.self_care
    assert letter.adherence == "Home programme done on 6 of 7 days (asked once)."
    assert ending.first_stages == ()  # looked at once: that look is the last as well
    assert summary.care.given.days == 12
    assert str(letter.referrer) == "Dr. Odile Farrow"
    assert "refer again" in letter.request


def test_a_summary_sets_the_last_session_against_the_first(cast: Cast) -> None:
    letter = paper(treated(cast.therapist, (5,)), DISCHARGE)
    numbers = summary_of(letter).limbs[0]
    assert (numbers.last.taken_on, numbers.now.taken_on) == (days_ago(88), days_ago(3))
    assert letter.bottom_line.startswith("Better: the excess volume of the right arm has fallen")
    assert "since the first session, far more than measurement error" in letter.bottom_line


def test_the_recall_is_what_is_booked_or_what_was_agreed(
    cast: Cast, monkeypatch: pytest.MonkeyPatch
) -> None:
    episode = discharged(cast.therapist, monkeypatch, (5,))
    assert paper_plan(episode) == f"No date is set for re-measurement. {COME_BACK}"
    set_recall_schedule(episode=episode, every_months=3, by=cast.therapist)
    expected = recall_after_months(days_ago(3), 3)
    assert f"To be measured again by {expected.day} {expected:%b %Y}." in paper_plan(episode)


def paper_plan(episode: Episode) -> str:
    letter = paper(episode, DISCHARGE)
    plan = letter.plan
    services.discard_letter(letter=letter, by=letter.compiled_by)
    return plan


def recall_after_months(on, months):  # type: ignore[no-untyped-def]
    """Calendar months by the standard library alone; days here exist in every month or are cut."""
    year, month = divmod(on.month - 1 + months, 12)
    first = on.replace(day=1, year=on.year + year, month=month + 1)
    last = (first.replace(day=28) + timedelta(days=4)).replace(day=1) - timedelta(days=1)
    return min(first + timedelta(days=on.day - 1), last)


def test_a_summary_counts_as_the_last_report(cast: Cast) -> None:
    episode = treated(cast.therapist, (12, 5))
    approved(paper(episode, DISCHARGE))
    assert plan_standing(episode, today()).report.since_last == 0


# Kept


@pytest.mark.parametrize("kind", [REPORT, DISCHARGE])
def test_what_is_approved_stays_in_the_database_itself(cast: Cast, kind: LetterKind) -> None:
    letter = approved(paper(treated(cast.therapist, (5,)), kind))
    assert letter.method == LETTER_METHOD
    assert letter.summary["kind"] == kind.value
    assert letter.summary["care"]["given"]["days"] == 1
    assert json.loads(json.dumps(letter.summary)) == letter.summary
    for statement in (
        "UPDATE letters_progressletter SET kind = 'letter' WHERE id = %s",
        "UPDATE letters_progressletter SET skilled_need = 'x' WHERE id = %s",
        "DELETE FROM letters_progressletter WHERE id = %s",
    ):
        refuse(statement, str(letter.pk))
    reported = ProgressReported.objects.get()
    assert reported.until_on == letter.period_to
    refuse("UPDATE visits_progressreported SET until_on = now() WHERE id = %s", reported.pk)
    refuse("DELETE FROM visits_progressreported WHERE id = %s", reported.pk)


def refuse(statement: str, key: object) -> None:
    with (
        pytest.raises(DatabaseError, match="Cannot update or delete"),
        transaction.atomic(),
        connection.cursor() as cursor,
    ):
        cursor.execute(statement, [key])


def test_one_draft_of_each_kind_stands_at_a_time(cast: Cast) -> None:
    episode = better(cast.therapist)
    drafts = [paper(episode, kind) for kind in LetterKind]
    assert len({draft.pk for draft in drafts}) == 3
    for draft in drafts:
        with pytest.raises(errors.DraftExists) as raised:
            paper(episode, draft.kind_word)
        assert raised.value.draft == draft


@pytest.mark.parametrize("kind", [REPORT, DISCHARGE])
def test_a_paper_takes_the_same_queries_whatever_the_record_holds(
    cast: Cast, kind: LetterKind, monkeypatch: pytest.MonkeyPatch
) -> None:
    counts = set()
    small = treated(cast.therapist, (5,))
    for episode in (small, discharged(cast.therapist, monkeypatch, (33, 26, 19, 12, 5))):
        letter = ProgressLetter.objects.select_related("episode__client", "referrer").get(
            pk=paper(episode, kind).pk
        )
        with CaptureQueriesContext(connection) as captured:
            services.final_sheet(letter, cast.therapist)
        counts.add(len(captured))
    assert len(counts) == 1, counts


def test_the_due_list_waits_for_the_letter_whatever_else_was_sent(cast: Cast) -> None:
    assert LetterKind.LETTER.value == overview.REFERRERS_LETTER
    episode = treated(cast.therapist, (5,))
    approved(paper(episode, REPORT))
    paper(episode, DISCHARGE)
    (facts,) = overview.all_facts(Episode.objects.filter(pk=episode.pk)).values()
    assert facts.last_letter_to is None
    assert facts.letter_draft_on is None
    approved(paper(episode, LetterKind.LETTER))
    (facts,) = overview.all_facts(Episode.objects.filter(pk=episode.pk)).values()
    assert facts.last_letter_to == today()
