"""Compile, edit, approve, discard: nothing half approved, nothing sent is ever changed."""

import hashlib
import json
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import timedelta

import pytest
from django.db import DatabaseError, connection, transaction
from django.test.utils import CaptureQueriesContext

from clinic.audit.selectors import history_of
from clinic.clients.models import Episode, PrecautionFound
from clinic.common import print as press
from clinic.common.vocabulary import Involvement, Precaution, Region, RegionSide
from clinic.letters import errors, services
from clinic.letters.clauses import day
from clinic.letters.compile import LETTER_METHOD
from clinic.letters.models import ProgressLetter
from clinic.letters.selectors import stored_pdf
from clinic.letters.sheet import Texts
from measurements.selectors.reports import episode_course
from tests.builders import make_client, make_episode, make_protocol, make_session, today
from tests.cast import Cast
from tests.clinic.letters.stories import (
    STORIES,
    arm_episode,
    better,
    days_ago,
    much_treated,
    tape,
    unchanged,
)


def drafted(episode: Episode, cast: Cast, *, since: int = 90, until: int = 0) -> ProgressLetter:
    return services.compile_letter(
        episode=episode,
        period_from=days_ago(since),
        period_to=days_ago(until),
        by=cast.therapist,
    )


def approved(letter: ProgressLetter, cast: Cast) -> ProgressLetter:
    digest = services.final_sheet(letter, cast.therapist).digest
    return services.approve_letter(letter=letter, digest=digest, by=cast.therapist)


@contextmanager
def refused_by_the_database() -> Iterator[None]:
    with pytest.raises(DatabaseError, match=r"Cannot (update|delete)"), transaction.atomic():
        yield


@pytest.fixture(autouse=True)
def _quick_print(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    """Printing has its own tests; here any bytes do unless a test is marked by name."""
    if "real_print" not in request.fixturenames:
        monkeypatch.setattr(
            services, "letter_pdf", lambda sheet: b"%PDF of " + sheet.digest.encode()
        )


@pytest.fixture
def real_print() -> None:
    """Leaves the real printer in place."""


def test_a_draft_is_filled_from_the_record(cast: Cast) -> None:
    letter = drafted(better(cast.therapist), cast)
    assert letter.bottom_line.startswith("Better: ")
    assert "Intensive phase" in letter.treatment
    assert str(letter.referrer) == "Dr. Odile Farrow"
    assert not letter.is_approved


def test_a_second_draft_is_refused(cast: Cast) -> None:
    episode = better(cast.therapist)
    first = drafted(episode, cast)
    with pytest.raises(errors.DraftExists) as raised:
        drafted(episode, cast)
    assert raised.value.draft == first


def test_without_girths_there_is_nothing_to_report(cast: Cast) -> None:
    with pytest.raises(errors.NothingTaped):
        drafted(arm_episode(cast.therapist), cast)
    assert not ProgressLetter.objects.exists()


def test_girths_after_the_period_do_not_count(cast: Cast) -> None:
    with pytest.raises(errors.NothingTaped):
        drafted(better(cast.therapist), cast, since=120, until=100)


def test_nobody_to_write_to_or_a_client_who_declines_stops_the_letter(cast: Cast) -> None:
    alone = make_episode(make_client(), cast.therapist)
    with pytest.raises(errors.NoReferrer):
        drafted(alone, cast)
    declining = better(cast.therapist)
    declining.client.agrees_to_letters = False
    with pytest.raises(errors.ClientDeclines):
        drafted(declining, cast)


def test_a_period_must_run_forward_and_have_come(cast: Cast) -> None:
    episode = better(cast.therapist)
    with pytest.raises(errors.PeriodBackwards):
        drafted(episode, cast, since=5, until=10)
    with pytest.raises(errors.PeriodInFuture):
        drafted(episode, cast, until=-1)


def test_an_edit_is_kept_once_and_logged_once(cast: Cast) -> None:
    letter = drafted(better(cast.therapist), cast)
    texts = Texts("Better.", "Bandaging.", "Daily.", "Go on.", "Nothing.")
    kept = services.edit_letter(
        letter=letter, texts=texts, edited_at=letter.edited_at, by=cast.therapist
    )
    services.edit_letter(letter=kept, texts=texts, edited_at=kept.edited_at, by=cast.therapist)
    assert services.texts_of(ProgressLetter.objects.get()) == texts
    assert [entry.verb for entry in history_of(letter.episode.client)] == [
        "letter.edited",
        "letter.compiled",
    ]


def test_an_edit_over_somebody_elses_is_refused(cast: Cast) -> None:
    letter = drafted(better(cast.therapist), cast)
    opened_at = letter.edited_at
    services.edit_letter(
        letter=letter, texts=Texts("Mine."), edited_at=opened_at, by=cast.therapist
    )
    with pytest.raises(errors.LetterChanged):
        services.edit_letter(
            letter=letter, texts=Texts("Yours."), edited_at=opened_at, by=cast.lead
        )
    assert ProgressLetter.objects.get().bottom_line == "Mine."


def test_an_approved_letter_keeps_bytes_hash_summary_and_method(
    cast: Cast, real_print: None
) -> None:
    letter = approved(drafted(better(cast.therapist), cast), cast)
    stored = stored_pdf(letter)
    assert stored.startswith(b"%PDF-1.7")
    assert hashlib.sha256(stored).hexdigest() == letter.pdf_sha256
    assert letter.method == LETTER_METHOD
    assert letter.approved_by == cast.therapist
    summary = ProgressLetter.objects.get().summary
    course = episode_course(letter.episode)[0]
    now = summary["limbs"][0]["now"]
    assert now["excess"]["value"] == pytest.approx(course.points[-1].excess_ml)
    assert now["taken_on"] == days_ago(3).isoformat()
    assert json.loads(json.dumps(summary)) == summary
    assert history_of(letter.episode.client)[0].verb == "letter.approved"


def test_a_changed_record_leaves_a_sent_letter_alone(cast: Cast) -> None:
    episode = better(cast.therapist)
    letter = approved(drafted(episode, cast), cast)
    before = stored_pdf(letter), ProgressLetter.objects.get().summary
    episode.client.family_name = "Changed"
    episode.client.save()
    episode.girth_sessions.update(
        struck_at=letter.approved_at, struck_by=cast.lead, struck_reason="Wrong client"
    )
    assert (stored_pdf(letter), ProgressLetter.objects.get().summary) == before


def test_what_was_not_looked_at_is_not_approved(cast: Cast) -> None:
    episode = better(cast.therapist)
    letter = drafted(episode, cast)
    digest = services.final_sheet(letter, cast.therapist).digest
    protocol = make_protocol()
    make_session(episode, protocol, taken_on=today())
    with pytest.raises(errors.LetterChanged):
        services.approve_letter(letter=letter, digest=digest, by=cast.therapist)
    assert not ProgressLetter.objects.get().is_approved


def test_a_printing_failure_approves_nothing(
    cast: Cast, monkeypatch: pytest.MonkeyPatch, real_print: None
) -> None:
    letter = drafted(better(cast.therapist), cast)

    def fails(*_args: object, **_named: object) -> None:
        raise RuntimeError("no font")

    monkeypatch.setattr(press.weasyprint, "HTML", fails)
    with pytest.raises(press.NotPrinted):
        approved(letter, cast)
    stored = ProgressLetter.objects.get()
    assert not stored.is_approved
    assert stored.bottom_line == letter.bottom_line
    assert "letter.approved" not in [entry.verb for entry in history_of(letter.episode.client)]


def test_services_refuse_to_touch_an_approved_letter(cast: Cast) -> None:
    letter = approved(drafted(better(cast.therapist), cast), cast)
    with pytest.raises(errors.LetterKept):
        services.edit_letter(
            letter=letter, texts=Texts("Other."), edited_at=letter.edited_at, by=cast.lead
        )
    with pytest.raises(errors.LetterKept):
        services.discard_letter(letter=letter, by=cast.lead)
    with pytest.raises(errors.LetterKept):
        approved(letter, cast)


def test_the_database_refuses_to_change_or_remove_an_approved_letter(cast: Cast) -> None:
    letter = approved(drafted(better(cast.therapist), cast), cast)
    with refused_by_the_database(), connection.cursor() as cursor:
        cursor.execute(
            "UPDATE letters_progressletter SET plan = 'x' WHERE id = %s", [str(letter.pk)]
        )
    with refused_by_the_database(), connection.cursor() as cursor:
        cursor.execute("DELETE FROM letters_progressletter WHERE id = %s", [str(letter.pk)])
    with connection.cursor() as cursor:
        cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")  # a pending check would refuse it first
        with pytest.raises(DatabaseError, match="TRUNCATE is refused"):
            cursor.execute("TRUNCATE letters_progressletter CASCADE")


def test_the_refusal_of_the_database_becomes_a_sentence(cast: Cast) -> None:
    letter = approved(drafted(better(cast.therapist), cast), cast)
    with pytest.raises(errors.LetterKept), services._kept_letters():
        letter.save()


def test_a_discarded_draft_is_gone_and_logged(cast: Cast) -> None:
    letter = drafted(better(cast.therapist), cast)
    client = letter.episode.client
    services.discard_letter(letter=letter, by=cast.therapist)
    assert not ProgressLetter.objects.exists()
    assert history_of(client)[0].verb == "letter.discarded"


def test_a_draft_that_somebody_discarded_is_neither_kept_nor_approved(cast: Cast) -> None:
    letter = drafted(better(cast.therapist), cast)
    digest = services.final_sheet(letter, cast.therapist).digest
    stale = ProgressLetter.objects.get(pk=letter.pk)
    services.discard_letter(letter=letter, by=cast.lead)
    texts = replace(services.texts_of(stale), plan="Garments next.")
    with pytest.raises(errors.LetterGone):
        services.edit_letter(
            letter=stale, texts=texts, edited_at=stale.edited_at, by=cast.therapist
        )
    with pytest.raises(errors.LetterGone):
        services.approve_letter(letter=stale, digest=digest, by=cast.therapist)


def test_the_next_letter_compares_with_the_session_of_the_last_one(cast: Cast) -> None:
    episode = better(cast.therapist)
    approved(drafted(episode, cast, until=44), cast)
    second = drafted(episode, cast, since=44)
    numbers = services.final_sheet(second, cast.therapist).summary.limbs[0]
    assert numbers.last is not None
    assert numbers.last.taken_on == days_ago(45)
    assert "since the last letter" in second.bottom_line


def test_a_summary_takes_the_same_number_of_queries_whatever_the_record_holds(cast: Cast) -> None:
    counts = set()
    for story in (unchanged, much_treated):
        letter = drafted(story(cast.therapist), cast)
        with CaptureQueriesContext(connection) as captured:
            services.final_sheet(letter, cast.therapist)
        counts.add(len(captured))
    assert len(counts) == 1


@pytest.mark.parametrize("story", STORIES)
def test_every_story_compiles_into_a_sentence(story: str, cast: Cast) -> None:
    expected = {
        "better": "Better: ",
        "worse": "Worse: ",
        "unchanged": "Unchanged: ",
        "without_baseline": "No baseline to compare with: ",
        "first_session": "First measurement: ",
        "bilateral": "Better: ",
        "arm_and_leg": "Worse: the excess volume of the left leg",
        "much_treated": "Treatment is paused (",
    }
    assert drafted(STORIES[story](cast.therapist), cast).bottom_line.startswith(expected[story])


def test_an_infection_of_the_period_is_told_though_it_is_settled(cast: Cast) -> None:
    episode = better(cast.therapist)
    for precaution, found, settled in (
        (Precaution.UNTREATED_INFECTION, 40, 28),
        (Precaution.UNTREATED_INFECTION, 200, 180),  # before the period
        (Precaution.FRAGILE_CHEST_SKIN, 30, 20),  # bars nothing
    ):
        PrecautionFound.objects.create(
            client=episode.client,
            precaution=precaution,
            found_on=days_ago(found),
            found_by=cast.therapist,
            cleared_on=days_ago(settled),
            cleared_by=cast.therapist,
            cleared_reason="Calm.",
        )
    told = drafted(episode, cast).treatment
    assert told.count("Paused from") == 1
    assert (
        f"Paused from {day(days_ago(40))} to {day(days_ago(28))}: untreated infection, cellulitis"
        " or fever, settled since."
    ) in told


def test_a_watched_arm_is_not_taken_for_the_swollen_breast_beside_it(cast: Cast) -> None:
    swollen_breast = (Region.BREAST, RegionSide.RIGHT, Involvement.SWOLLEN)
    watched_arm = (Region.ARM, RegionSide.RIGHT, Involvement.AT_RISK)
    episode = arm_episode(cast.therapist, regions=[swollen_breast, watched_arm])
    tape(episode, make_protocol(), {80: (-1.5, 0), 5: (-1.5, 0)})
    letter = drafted(episode, cast)
    assert "Swelling not measurable by tape: right breast. No action" in letter.bottom_line
    sheet = services.final_sheet(letter, cast.therapist)
    assert sheet.limbs[0].table.rows[0].label == "Right arm, at risk"
    assert sheet.limbs[0].table.caption == "Arm volumes; excess is the right arm less the left"


def test_one_limb_taped_is_set_against_its_own_baseline(cast: Cast) -> None:
    episode = arm_episode(cast.therapist)
    protocol = make_protocol()
    tape(episode, protocol, {60: (0, 0)})
    make_session(episode, protocol, taken_on=today() - timedelta(days=2), left_cm=[])
    letter = drafted(episode, cast)
    assert "the volume of the right arm is " in letter.bottom_line
    table = services.draft_sheet(letter, cast.therapist).limbs[0].table
    assert table.caption == "Arm volumes; the left arm was not measured"
