"""What a client holds: issued whole or not at all, never changed, taken back with a reason."""

import threading
from typing import Any

import pytest
from django.db import DatabaseError, connection, transaction

from clinic.accounts.models import PaperSize
from clinic.audit.models import Entry
from clinic.clients.models import PrecautionFound
from clinic.clients.services import clear_precaution, record_precaution
from clinic.common.vocabulary import Precaution
from programmes.body.errors import NoSafeRoute
from programmes.body.steps import steps_of
from programmes.edits import Act, Edit
from programmes.errors import DraftChanged, NoSteps, PrecautionBars, ProgrammeKept, ReasonMissing
from programmes.models import Programme, Standing, StepsBefore
from programmes.selectors.cards import programme_cards
from programmes.selectors.flags import withdrawal_flags
from programmes.selectors.handouts import given_handout
from programmes.selectors.programmes import in_hand
from programmes.services import issue as issuing
from programmes.services.care import Asked, review_precautions
from programmes.services.drafts import begin_programme, edit_draft, plan_again
from programmes.services.issue import issue_programme, withdraw_programme
from tests.builders import today
from tests.cast import Cast, make_cast
from tests.programmes.bodies import arm_episode, has, leg_episode, make_practice
from tests.programmes.test_drafts import edit_of, typed_of

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _quick_print(monkeypatch: pytest.MonkeyPatch) -> None:
    """The sheet itself is tested in test_handout; here a stand-in saves seconds a test."""
    monkeypatch.setattr(issuing, "handout_pdf", lambda handout: b"%PDF-1.7 stand-in")


def issued(cast: Cast, episode: Any = None) -> Programme:
    draft = begin_programme(episode=episode or arm_episode(cast.therapist), by=cast.therapist)
    return issue_programme(programme=draft, revision=draft.revision, by=cast.therapist)


def unsound(cast: Cast) -> Programme:
    draft = begin_programme(episode=arm_episode(cast.therapist), by=cast.therapist)
    return edit_draft(
        programme=draft, edit=edit_of(draft, Act.REMOVE, 3), revision=0, by=cast.therapist
    )


def test_issuing_keeps_all_that_the_plan_rested_on(cast: Cast) -> None:
    make_practice(paper_size=PaperSize.A4)
    kept = issued(cast)
    kept.refresh_from_db()
    assert kept.standing is Standing.IN_HAND
    assert kept.situation["basins_not_working"] == [["axilla", "left"]]
    assert kept.dose["counts"]["basin"]["default"] == 10
    assert kept.paper_size == PaperSize.A4
    assert kept.printed["people"]["client"] == "Marguerite Å."
    assert [one["name"] for one in kept.exercises]
    assert in_hand(kept.episode) == kept
    assert Entry.objects.filter(verb="programme.issued").count() == 1


def test_an_absolute_precaution_bars_issuing_and_says_why(cast: Cast) -> None:
    draft = begin_programme(episode=arm_episode(cast.therapist), by=cast.therapist)
    has(draft.episode, Precaution.UNTREATED_INFECTION, cast.therapist)  # between plan and issue
    with pytest.raises(PrecautionBars) as told:
        issue_programme(programme=draft, revision=0, by=cast.therapist, reason="She insists.")
    assert "no drainage until treated" in told.value.reasons[0]
    assert in_hand(draft.episode) is None


def test_an_uncleared_relative_precaution_bars_issuing(cast: Cast) -> None:
    draft = begin_programme(episode=arm_episode(cast.therapist), by=cast.therapist)
    has(draft.episode, Precaution.ACTIVE_CANCER, cast.therapist)
    with pytest.raises(PrecautionBars):
        issue_programme(programme=draft, revision=0, by=cast.therapist)


def test_a_plan_without_a_safe_route_is_never_issued(cast: Cast) -> None:
    draft = begin_programme(episode=arm_episode(cast.therapist), by=cast.therapist)
    has(draft.episode, Precaution.FRAGILE_CHEST_SKIN, cast.therapist)  # no helper for the back
    with pytest.raises(NoSafeRoute):
        issue_programme(programme=draft, revision=0, by=cast.therapist, reason="All the same.")


def test_a_programme_without_steps_is_not_issued(cast: Cast) -> None:
    draft = begin_programme(episode=arm_episode(cast.therapist), by=cast.therapist)
    Programme.objects.filter(pk=draft.pk).update(steps=[])
    with pytest.raises(NoSteps):
        issue_programme(programme=draft, revision=0, by=cast.therapist)


def test_an_unsound_programme_needs_a_reason_and_keeps_it_with_its_faults(cast: Cast) -> None:
    draft = unsound(cast)
    with pytest.raises(ReasonMissing) as told:
        issue_programme(programme=draft, revision=1, by=cast.therapist, reason="  ")
    assert told.value.found
    kept = issue_programme(
        programme=draft, revision=1, by=cast.therapist, reason="Far armpit is sore this week."
    )
    assert kept.unsound_reason == "Far armpit is sore this week."
    assert len(kept.violations) == len(told.value.found)


def test_a_sound_programme_keeps_no_reason(cast: Cast) -> None:
    draft = begin_programme(episode=arm_episode(cast.therapist), by=cast.therapist)
    kept = issue_programme(programme=draft, revision=0, by=cast.therapist, reason="Typed for fun")
    assert kept.unsound_reason == ""


def test_the_draft_looked_at_is_the_one_issued(cast: Cast) -> None:
    draft = unsound(cast)
    with pytest.raises(DraftChanged):
        issue_programme(programme=draft, revision=0, by=cast.therapist, reason="Fine.")


def test_nothing_is_kept_when_the_sheet_cannot_be_printed(
    cast: Cast, monkeypatch: pytest.MonkeyPatch
) -> None:
    draft = begin_programme(episode=arm_episode(cast.therapist), by=cast.therapist)

    def broken(handout: object) -> bytes:
        raise RuntimeError("no ink")

    monkeypatch.setattr(issuing, "handout_pdf", broken)
    with pytest.raises(RuntimeError), transaction.atomic():
        issue_programme(programme=draft, revision=0, by=cast.therapist)
    draft.refresh_from_db()
    assert draft.standing is Standing.DRAFT


def test_the_next_version_supersedes_and_begins_from_the_last(cast: Cast) -> None:
    first = issued(cast)
    second = begin_programme(episode=first.episode, by=cast.other_therapist)
    typed = typed_of(steps_of(second.steps))
    edit = Edit(typed, rest={"skin_care": "Dry well between the fingers."})
    edit_draft(programme=second, edit=edit, revision=0, by=cast.therapist)
    given = issue_programme(programme=second, revision=1, by=cast.therapist)
    first.refresh_from_db()
    assert first.standing is Standing.SUPERSEDED
    assert given.supersedes == first
    assert given.number == 2
    assert in_hand(first.episode) == given
    third = begin_programme(episode=first.episode, by=cast.therapist)
    assert third.skin_care == "Dry well between the fingers."


def test_history_for_undo_is_gone_once_issued(cast: Cast) -> None:
    draft = unsound(cast)
    issue_programme(programme=draft, revision=1, by=cast.therapist, reason="Fine.")
    assert not StepsBefore.objects.exists()


# What was given stays


def refused(sql: str, *values: object) -> None:
    with pytest.raises(DatabaseError), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(sql, values)


@pytest.mark.parametrize(
    "change",
    [
        "steps = '[]'",
        "handout = 'x'::bytea",
        "issued_at = NULL",
        "skin_care = 'else'",
        "unsound_reason = 'else'",
        "situation = '{}'",
    ],
)
def test_the_database_refuses_to_change_what_was_given(cast: Cast, change: str) -> None:
    kept = issued(cast)
    refused(f"UPDATE programmes_programme SET {change} WHERE id = %s", kept.pk)


def test_the_database_refuses_to_delete_or_empty_what_was_given(cast: Cast) -> None:
    kept = issued(cast)
    refused("DELETE FROM programmes_programme WHERE id = %s", kept.pk)
    refused("TRUNCATE programmes_programme CASCADE")


def test_the_database_keeps_a_withdrawal(cast: Cast) -> None:
    kept = withdraw_programme(programme=issued(cast), reason="New clot.", by=cast.therapist)
    refused(
        "UPDATE programmes_programme SET withdrawn_at = NULL, withdrawn_by_id = NULL,"
        " withdrawn_reason = '' WHERE id = %s",
        kept.pk,
    )


def test_the_database_allows_one_programme_in_hand(cast: Cast) -> None:
    first = issued(cast)
    second = begin_programme(episode=first.episode, by=cast.therapist)
    issue_programme(programme=second, revision=0, by=cast.therapist)
    refused("UPDATE programmes_programme SET superseded_at = NULL WHERE id = %s", first.pk)


def test_an_issued_programme_takes_no_edit(cast: Cast) -> None:
    kept = issued(cast)
    with pytest.raises(ProgrammeKept):
        plan_again(programme=kept, revision=kept.revision, by=cast.therapist)


def test_an_issued_programme_shows_what_was_given_whatever_changes_after(cast: Cast) -> None:
    kept = issued(cast)
    kept.episode.client.family_name = "Else"
    kept.episode.client.save()
    sheet = given_handout(Programme.objects.get(pk=kept.pk))
    assert sheet.people.client == "Marguerite Å."
    assert sheet.number_of_steps == len(kept.steps)


# Taking back


def test_withdrawing_needs_a_reason_and_happens_once(cast: Cast) -> None:
    kept = issued(cast)
    with pytest.raises(ReasonMissing):
        withdraw_programme(programme=kept, reason=" ", by=cast.therapist)
    gone = withdraw_programme(programme=kept, reason="New clot.", by=cast.therapist)
    assert gone.standing is Standing.WITHDRAWN
    assert in_hand(kept.episode) is None
    with pytest.raises(ProgrammeKept):
        withdraw_programme(programme=kept, reason="Again.", by=cast.therapist)


def test_a_new_precaution_flags_what_the_client_holds(cast: Cast) -> None:
    held, other = issued(cast), issued(cast, leg_episode(cast.therapist))
    assert withdrawal_flags([held.episode, other.episode]) == {}
    answer = Asked(today(), yes=(Precaution.ACUTE_CLOT,))
    review_precautions(client=held.episode.client, asked=answer, by=cast.therapist)
    flags = withdrawal_flags([held.episode, other.episode])
    assert set(flags) == {held.episode_id}
    assert flags[held.episode_id].is_urgent


def test_a_precaution_known_at_issue_flags_nothing(cast: Cast) -> None:
    episode = arm_episode(cast.therapist)
    has(episode, Precaution.OVERACTIVE_THYROID, cast.therapist)
    held = issued(cast, episode)
    assert held.precautions["open"][0]["precaution"] == "overactive_thyroid"
    assert "We skip the neck to keep you safe." in held.left_out["client"]
    assert withdrawal_flags([episode]) == {}


def test_a_flag_goes_when_the_precaution_or_the_programme_goes(cast: Cast) -> None:
    held = issued(cast)
    found = has(held.episode, Precaution.PREGNANCY, cast.therapist)
    assert not withdrawal_flags([held.episode])[held.episode_id].is_urgent
    clear_precaution(found=found, cleared_on=today(), reason="Not so.", by=cast.therapist)
    assert withdrawal_flags([held.episode]) == {}
    has(held.episode, Precaution.PREGNANCY, cast.therapist)
    withdraw_programme(programme=held, reason="New version.", by=cast.therapist)
    assert withdrawal_flags([held.episode]) == {}


def test_flags_and_cards_take_the_same_queries_for_many_episodes(
    cast: Cast, django_assert_num_queries: Any
) -> None:
    episodes = [issued(cast, arm_episode(cast.therapist)).episode for _ in range(3)]
    has(episodes[0], Precaution.PREGNANCY, cast.therapist)
    with django_assert_num_queries(2):
        withdrawal_flags(episodes)
    with django_assert_num_queries(3):
        cards = programme_cards(episodes)
    assert cards[episodes[0].pk].flag
    assert cards[episodes[1].pk].held


@pytest.mark.django_db(transaction=True)
def test_a_precaution_recorded_during_issue_waits_and_then_flags() -> None:
    """Both lock the client: the precaution comes before the check or after the issue."""
    cast = make_cast()
    draft = begin_programme(episode=arm_episode(cast.therapist), by=cast.therapist)
    inside, recorded = threading.Event(), threading.Event()

    def slow_pdf(handout: object) -> bytes:
        inside.set()
        assert not recorded.wait(0.5), "the precaution slipped in between check and issue"
        return b"%PDF-1.7 stand-in"

    def find() -> None:
        assert inside.wait(10)
        found = PrecautionFound(
            client=draft.episode.client, precaution=Precaution.ACUTE_CLOT, found_on=today()
        )
        record_precaution(found=found, by=cast.therapist)
        recorded.set()
        connection.close()

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(issuing, "handout_pdf", slow_pdf)
        other = threading.Thread(target=find)
        other.start()
        held = issue_programme(programme=draft, revision=0, by=cast.therapist)
        other.join(10)
    assert recorded.is_set()
    assert held.precautions["open"] == []
    assert withdrawal_flags([held.episode])[held.episode_id].is_urgent
