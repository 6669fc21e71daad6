"""A month's run: each letter once, whatever is repeated or fails; only a person approves."""

import threading
from datetime import timedelta

import pytest
from django.db import IntegrityError, OperationalError, connection, transaction
from django.test.utils import CaptureQueriesContext
from django.utils import timezone
from procrastinate.contrib.django.models import ProcrastinateJob

from clinic.audit.models import Entry
from clinic.clients.models import Client, Referrer
from clinic.common.print import NotPrinted, PrintFault
from clinic.common.vocabulary import LetterFrequency
from clinic.letters import errors as letter_errors
from clinic.letters import services as letters
from clinic.letters.models import LetterRun, ProgressLetter
from clinic.letters.runs import compiling, errors, services
from clinic.letters.runs.compiling import compile_row
from clinic.letters.runs.facts import episode_facts
from clinic.letters.runs.sentences import because
from clinic.letters.runs.words import Failure, Reason, RowState
from clinic.letters.story_words import Story
from clinic.scheduling.states import Status
from clinic.visits.models import VisitNote
from tests.builders import make_client, make_episode, make_referrer, today
from tests.cast import Cast, make_cast
from tests.clinic.letters.months import (
    MONTH,
    compiled_run,
    day_of_month,
    month_of,
    row_of,
    seen_in_month,
)
from tests.clinic.scheduling.desk_stories import make_appointment
from tests.clinic.visits.charting import signed


@pytest.fixture(autouse=True)
def _quick_print(monkeypatch: pytest.MonkeyPatch) -> None:
    for module in (letters, compiling):
        monkeypatch.setattr(module, "letter_pdf", lambda sheet: b"%PDF quick")


def approve(run: LetterRun, episode: object, cast: Cast) -> ProgressLetter:
    row = row_of(run, episode)
    digest = letters.final_sheet(row.letter, cast.therapist).digest
    return services.approve_row(row=row, digest=digest, by=cast.therapist)


def test_a_run_compiles_what_is_owed_and_says_why_of_the_rest(cast: Cast) -> None:
    referrer = make_referrer()
    seen = seen_in_month(cast.therapist, referrer)
    declining = seen_in_month(cast.therapist, referrer, agrees_to_letters=False)
    away = make_episode(make_client(referrer=referrer), cast.therapist)
    run = compiled_run(cast.lead)
    assert row_of(run, seen).state == RowState.COMPILED
    assert row_of(run, seen).story == Story.GOOD_RESPONSE
    assert row_of(run, seen).letter.period_to == day_of_month(1) + (
        services.month_end(MONTH) - day_of_month(1)
    )
    assert row_of(run, declining).reason == Reason.CLIENT_DECLINES
    assert row_of(run, away).reason in {Reason.NO_VISIT, Reason.NOTHING_TAPED}
    assert ProgressLetter.objects.count() == 1


def test_nobody_writes_to_a_referrer_who_is_no_longer_active(cast: Cast) -> None:
    gone, present = make_referrer(is_active=False), make_referrer(family_name="Tolland")
    of_client = seen_in_month(cast.therapist, gone)
    of_episode = seen_in_month(cast.therapist, present)
    of_episode.referrer = gone
    of_episode.save()
    replaced = seen_in_month(cast.therapist, gone)
    replaced.referrer = present
    replaced.save()
    run = compiled_run(cast.lead)
    for left in (of_client, of_episode):
        assert row_of(run, left).reason == Reason.REFERRER_GONE
    assert "Dr. Odile Farrow is no longer active" in because(row_of(run, of_client))
    assert row_of(run, replaced).state == RowState.COMPILED


def test_a_month_that_is_not_over_is_refused(cast: Cast) -> None:
    with pytest.raises(errors.MonthNotOver):
        services.start_run(month=today().replace(day=1), by=cast.lead)


def test_a_repeat_adds_only_what_is_missing(cast: Cast) -> None:
    referrer = make_referrer()
    held, skipped, approved, open_ = month_of(4, cast.therapist, referrer)
    run = compiled_run(cast.lead)
    services.hold_row(row=row_of(run, held), note="", by=cast.therapist)
    services.skip_row(row=row_of(run, skipped), note="Phoned instead", by=cast.therapist)
    sent = approve(run, approved, cast)
    late = seen_in_month(cast.therapist, referrer)
    again = compiled_run(cast.lead)
    assert again == run
    assert [row_of(run, each).state for each in (held, skipped, approved, open_, late)] == [
        RowState.HELD,
        RowState.SKIPPED,
        RowState.COMPILED,
        RowState.COMPILED,
        RowState.COMPILED,
    ]
    assert row_of(run, approved).letter == sent
    per_episode = ProgressLetter.objects.values_list("episode", flat=True)
    assert len(per_episode) == len(set(per_episode)) == 4


def test_a_letter_compiled_twice_is_there_once(cast: Cast) -> None:
    seen_in_month(cast.therapist, make_referrer())
    run = compiled_run(cast.lead)
    compile_row(row_id=run.rows.get().pk)
    assert ProgressLetter.objects.count() == 1
    assert Entry.objects.filter(verb="letter.compiled").count() == 1


def test_the_database_refuses_a_second_run_and_a_second_row(cast: Cast) -> None:
    episode = seen_in_month(cast.therapist, make_referrer())
    run = compiled_run(cast.lead)
    row = row_of(run, episode)
    again = LetterRun(
        month=MONTH,
        started_by=cast.lead,
        started_at=run.started_at,
        considered_by=cast.lead,
        considered_at=run.started_at,
    )
    with pytest.raises(IntegrityError, match="month"), transaction.atomic():
        again.save()
    row.pk, row.letter, row.state = None, None, RowState.OWED
    with pytest.raises(IntegrityError, match="episode_once_a_run"), transaction.atomic():
        row.save(force_insert=True)


@pytest.mark.parametrize(
    ("change", "constraint"),
    [
        ({"state": RowState.OWED}, "run_letter_where_compiled"),
        ({"reason": Reason.NO_VISIT}, "run_owes_for_a_reason"),
        ({"state": RowState.HELD}, "run_decision_has_a_person"),
        ({"failure": Failure.FAULT}, "run_failure_says_why"),
        ({"story": "tragedy"}, "run_words_are_known"),
    ],
)
def test_the_database_refuses_a_row_that_contradicts_itself(
    cast: Cast, change: dict[str, str], constraint: str
) -> None:
    seen_in_month(cast.therapist, make_referrer())
    run = compiled_run(cast.lead)
    with pytest.raises(IntegrityError, match=constraint), transaction.atomic():
        run.rows.update(**change)


def test_jobs_carry_row_numbers_only(cast: Cast) -> None:
    month_of(2, cast.therapist, make_referrer())
    run = services.start_run(month=MONTH, by=cast.lead)
    told = {tuple(args.items()) for args in ProcrastinateJob.objects.values_list("args", flat=True)}
    assert told == {(("row_id", str(row.pk)),) for row in run.rows.all()}


def test_a_referrer_of_changes_gets_a_letter_only_when_something_changed(cast: Cast) -> None:
    referrer = make_referrer(letter_frequency=LetterFrequency.CHANGES)
    changed = seen_in_month(cast.therapist, referrer, fallen_cm=0.8)
    same = seen_in_month(cast.therapist, referrer, fallen_cm=0.1)
    # A first letter is always news, so both have one already, of the month before.
    for episode in (changed, same):
        letter = letters.compile_letter(
            episode=episode,
            period_from=episode.opened_on,
            period_to=MONTH - timedelta(days=1),
            by=cast.therapist,
        )
        digest = letters.final_sheet(letter, cast.therapist).digest
        letters.approve_letter(letter=letter, digest=digest, by=cast.therapist)
    run = compiled_run(cast.lead)
    assert row_of(run, changed).state == RowState.COMPILED
    assert row_of(run, same).state == RowState.NOT_OWED
    assert row_of(run, same).reason == Reason.NO_CHANGE


def test_a_fault_is_kept_as_a_failure_and_can_be_tried_again(
    cast: Cast, monkeypatch: pytest.MonkeyPatch
) -> None:
    episode = seen_in_month(cast.therapist, make_referrer())
    with monkeypatch.context() as broken:
        broken.setattr(compiling, "story_of", lambda summary: 1 / 0)
        run = compiled_run(cast.lead)
    failed = row_of(run, episode)
    assert (failed.state, failed.failure) == (RowState.FAILED, Failure.FAULT)
    assert not ProgressLetter.objects.exists()
    services.put_back(row=failed, by=cast.therapist)
    compile_row(row_id=failed.pk)
    assert row_of(run, episode).state == RowState.COMPILED


def test_a_database_that_is_away_leaves_the_row_for_the_next_try(
    cast: Cast, monkeypatch: pytest.MonkeyPatch
) -> None:
    def away(summary: object) -> str:
        raise OperationalError

    episode = seen_in_month(cast.therapist, make_referrer())
    run = services.start_run(month=MONTH, by=cast.lead)
    monkeypatch.setattr(compiling, "story_of", away)
    with pytest.raises(OperationalError):
        compile_row(row_id=row_of(run, episode).pk)
    assert row_of(run, episode).state == RowState.OWED


@pytest.mark.parametrize(
    ("raised", "pages"),
    [
        (letter_errors.LetterTooLong(2, letter_errors.LetterKind.LETTER), 2),
        (NotPrinted(PrintFault.LIBRARY_MISSING), None),
    ],
)
def test_the_reviewer_is_told_whether_it_fits(
    cast: Cast, monkeypatch: pytest.MonkeyPatch, raised: Exception, pages: int | None
) -> None:
    def refuse(sheet: object) -> bytes:
        raise raised

    episode = seen_in_month(cast.therapist, make_referrer())
    monkeypatch.setattr(compiling, "letter_pdf", refuse)
    run = compiled_run(cast.lead)
    assert (row_of(run, episode).state, row_of(run, episode).pages) == (RowState.COMPILED, pages)


def test_a_skipped_letter_has_no_draft_and_comes_back_fresh(cast: Cast) -> None:
    episode = seen_in_month(cast.therapist, make_referrer())
    run = compiled_run(cast.lead)
    with pytest.raises(errors.NoReason):
        services.skip_row(row=row_of(run, episode), note="  ", by=cast.therapist)
    services.skip_row(row=row_of(run, episode), note="Phoned instead", by=cast.therapist)
    assert not ProgressLetter.objects.exists()
    services.put_back(row=row_of(run, episode), by=cast.therapist)
    compile_row(row_id=row_of(run, episode).pk)
    assert ProgressLetter.objects.count() == 1


def test_a_draft_discarded_elsewhere_is_skipped_in_its_run(cast: Cast) -> None:
    episode = seen_in_month(cast.therapist, make_referrer())
    run = compiled_run(cast.lead)
    letters.discard_letter(letter=row_of(run, episode).letter, by=cast.therapist)
    assert row_of(run, episode).state == RowState.SKIPPED


def test_what_is_approved_can_be_neither_held_nor_skipped(cast: Cast) -> None:
    episode = seen_in_month(cast.therapist, make_referrer())
    run = compiled_run(cast.lead)
    approve(run, episode, cast)
    for act in (services.hold_row, services.skip_row):
        with pytest.raises(errors.RowElsewhere):
            act(row=row_of(run, episode), note="Too late", by=cast.therapist)
    assert row_of(run, episode).letter.is_approved


def test_a_letter_to_another_than_the_record_names_is_not_approved(cast: Cast) -> None:
    moved, gone, inactive = month_of(3, cast.therapist, make_referrer())
    run = compiled_run(cast.lead)
    moved.referrer = make_referrer(family_name="Tolland")
    moved.save()
    with pytest.raises(letter_errors.ReferrerChanged):
        approve(run, moved, cast)
    Client.objects.filter(pk=inactive.client_id).update(
        deactivated_at=timezone.now(), deactivated_reason="Moved away."
    )
    with pytest.raises(errors.ClientInactive):
        approve(run, inactive, cast)
    Referrer.objects.filter(pk=gone.client.referrer_id).update(is_active=False)
    with pytest.raises(letter_errors.ReferrerGone):
        approve(run, gone, cast)
    assert not ProgressLetter.objects.exclude(approved_at=None).exists()


def test_a_letter_put_back_is_compiled_to_the_referrer_named_now(cast: Cast) -> None:
    (moved,) = month_of(1, cast.therapist, make_referrer())
    run = compiled_run(cast.lead)
    moved.referrer = make_referrer(family_name="Tolland")
    moved.save()
    services.skip_row(row=row_of(run, moved), note="Another referrer", by=cast.therapist)
    services.put_back(row=row_of(run, moved), by=cast.therapist)
    compile_row(row_id=row_of(run, moved).pk)
    assert approve(run, moved, cast).referrer == moved.referrer


def test_a_run_locks_its_own_rows_and_nobodys_client(cast: Cast) -> None:
    month_of(2, cast.therapist, make_referrer())
    run = compiled_run(cast.lead)
    with CaptureQueriesContext(connection) as taken:
        services.start_run(month=MONTH, by=cast.lead)
        services.hold_row(row=run.rows.first(), note="", by=cast.therapist)
    locking = [each["sql"] for each in taken if "FOR UPDATE" in each["sql"]]
    assert any('"letters_runletter"' in sql for sql in locking)
    assert not any("clients_" in sql for sql in locking)


@pytest.mark.django_db(transaction=True)
def test_what_another_person_approves_at_this_moment_is_not_held() -> None:
    """Approval leaves the row as it was: whoever waited for it has to look at the letter anew."""
    cast = make_cast()
    (episode,) = month_of(1, cast.therapist, make_referrer())
    run = compiled_run(cast.lead)
    row = row_of(run, episode)
    printing, refused = threading.Event(), threading.Event()

    def slow_pdf(sheet: object) -> bytes:
        printing.set()
        assert not refused.wait(0.5), "the row was not locked"
        return b"%PDF slow"

    def hold() -> None:
        assert printing.wait(10)
        try:
            services.hold_row(row=row, note="Wait", by=cast.lead)
        except errors.RowElsewhere:
            refused.set()
        connection.close()

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(letters, "letter_pdf", slow_pdf)
        other = threading.Thread(target=hold)
        other.start()
        approve(run, episode, cast)
        other.join(10)
    assert refused.is_set()
    assert row_of(run, episode).state == RowState.COMPILED
    assert row_of(run, episode).letter.is_approved


def test_every_act_is_logged(cast: Cast) -> None:
    held, skipped = month_of(2, cast.therapist, make_referrer())
    run = compiled_run(cast.lead)
    services.hold_row(row=row_of(run, held), note="", by=cast.therapist)
    services.put_back(row=row_of(run, held), by=cast.therapist)
    services.skip_row(row=row_of(run, skipped), note="Phoned", by=cast.therapist)
    services.start_run(month=MONTH, by=cast.lead)
    said = set(Entry.objects.values_list("verb", flat=True))
    assert said >= {
        "letter_run.started",
        "letter_run.repeated",
        "letter.compiled",
        "letter.held",
        "letter.put_back",
        "letter.discarded",
    }


def test_the_facts_take_the_same_queries_however_many_episodes(cast: Cast) -> None:
    referrer = make_referrer()

    def queries() -> int:
        with CaptureQueriesContext(
            connection,
        ) as taken:
            episode_facts(MONTH)
        return len(taken)

    seen_in_month(cast.therapist, referrer)
    few = queries()
    month_of(3, cast.therapist, referrer)
    assert queries() == few <= 6


def test_a_booking_with_a_signed_note_is_a_visit_of_the_notes_episode_alone(cast: Cast) -> None:
    client = make_client(referrer=make_referrer())
    arm, leg = (make_episode(client, cast.therapist) for _ in range(2))
    booking = make_appointment(client, cast.therapist, day_of_month(5), status=Status.DONE)
    facts = {each.episode_id: each.visited_on for each in episode_facts(MONTH)}
    assert facts == {arm.pk: {day_of_month(5)}, leg.pk: {day_of_month(5)}}
    signed(cast.therapist, arm, visited_on=day_of_month(5), appointment=booking)
    facts = {each.episode_id: each.visited_on for each in episode_facts(MONTH)}
    assert facts == {arm.pk: {day_of_month(5)}, leg.pk: frozenset()}


def test_a_note_that_is_not_signed_is_no_visit_yet(cast: Cast) -> None:
    episode = make_episode(make_client(referrer=make_referrer()), cast.therapist)
    VisitNote.objects.create(
        episode=episode,
        kind="treatment",
        visited_on=day_of_month(5),
        therapist=cast.therapist,
        begun_by=cast.therapist,
        edited_by=cast.therapist,
    )
    assert [each.visited_on for each in episode_facts(MONTH)] == [frozenset()]
