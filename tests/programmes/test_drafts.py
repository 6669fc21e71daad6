"""A draft begins from the plan of this body, is edited, undone, and shared by two people."""

import pytest

from clinic.audit.models import Entry
from clinic.common.vocabulary import (
    Basin,
    Phase,
    Precaution,
    RadiationField,
    Region,
    RegionSide,
    Side,
)
from programmes.body.errors import NoSafeRoute
from programmes.body.planner import plan
from programmes.body.situation import Affected, Options, Situation
from programmes.body.steps import Step, steps_of
from programmes.choices import Choices, Clearance, as_json, from_json
from programmes.edits import Act, Edit, Typed, moved, removed, repeated
from programmes.errors import DraftChanged, DraftExists, EpisodeClosed, NoSuchStep, NothingToUndo
from programmes.models import ClinicExercise, Programme
from programmes.selectors.drafts import desk_of, ground_of
from programmes.services.drafts import (
    begin_programme,
    choose,
    discard_draft,
    edit_draft,
    plan_again,
    undo,
)
from programmes.situations import situation_as_json, situation_from_json
from tests.builders import make_client, make_episode, today
from tests.cast import Cast
from tests.programmes.bodies import arm_episode, has, irradiated, leg_episode

pytestmark = pytest.mark.django_db


def typed_of(steps: tuple[Step, ...]) -> tuple[Typed, ...]:
    return tuple(Typed(step.repetitions, round(step.minutes, 1), step.note) for step in steps)


def edit_of(programme: Programme, act: Act | None = None, index: int = 0, end: int = 0) -> Edit:
    return Edit(typed_of(steps_of(programme.steps)), act=act, index=index, end=end)


def test_a_new_draft_holds_the_plan_for_this_body(cast: Cast) -> None:
    draft = begin_programme(episode=arm_episode(cast.therapist), by=cast.therapist)
    expected = plan(
        Situation((Affected(Region.ARM, RegionSide.LEFT),), frozenset({(Basin.AXILLA, Side.LEFT)}))
    )
    assert steps_of(draft.steps) == expected.steps
    assert desk_of(draft).is_sound


@pytest.mark.parametrize(
    ("field", "basin"),
    [
        (RadiationField.AXILLA, Basin.AXILLA),
        (RadiationField.GROIN, Basin.GROIN),
        (RadiationField.SUPRACLAV, Basin.SUPRACLAV),
    ],
)
def test_an_irradiated_basin_counts_as_not_working(
    cast: Cast, field: RadiationField, basin: Basin
) -> None:
    # Care page 1.5: after radiation to the armpit, same as nodes removed.
    episode = arm_episode(cast.therapist)
    irradiated(episode, field, RegionSide.LEFT)
    situation = ground_of(episode, Choices()).situation
    assert situation is not None
    assert (basin, Side.LEFT) in situation.treated_basins


def test_radiation_of_the_breast_leaves_every_basin_working(cast: Cast) -> None:
    episode = make_episode(make_client(), cast.therapist)
    irradiated(episode, RadiationField.BREAST, RegionSide.RIGHT)
    situation = ground_of(episode, Choices()).situation
    assert situation is not None
    assert situation.treated_basins == frozenset()


def test_exercises_that_suit_the_region_are_chosen_to_begin_with(cast: Cast) -> None:
    draft = begin_programme(episode=leg_episode(cast.therapist), by=cast.therapist)
    chosen = ClinicExercise.objects.filter(pk__in=draft.exercise_ids)
    assert {one.suits for one in chosen} == {"leg"}


def test_an_episode_has_one_draft(cast: Cast) -> None:
    episode = arm_episode(cast.therapist)
    draft = begin_programme(episode=episode, by=cast.therapist)
    with pytest.raises(DraftExists) as told:
        begin_programme(episode=episode, by=cast.other_therapist)
    assert told.value.draft == draft


def test_a_discharged_episode_gets_no_programme(cast: Cast) -> None:
    with pytest.raises(EpisodeClosed):
        begin_programme(
            episode=arm_episode(cast.therapist, phase=Phase.DISCHARGED), by=cast.therapist
        )


def test_where_no_route_is_safe_the_draft_is_empty_and_says_why(cast: Cast) -> None:
    episode = arm_episode(cast.therapist)
    has(episode, Precaution.ACUTE_CLOT, cast.therapist)
    desk = desk_of(begin_programme(episode=episode, by=cast.therapist))
    assert desk.steps == ()
    assert isinstance(desk.why_none, NoSafeRoute)


def test_moving_removing_and_repeating_keep_every_other_step() -> None:
    steps = plan(Situation((Affected(Region.ARM, RegionSide.LEFT),))).steps
    assert moved(steps, 3, 5)[5] == steps[3]
    assert sorted(map(repr, moved(steps, 3, 5))) == sorted(map(repr, steps))
    assert moved(moved(steps, 3, 5), 5, 3) == steps
    assert removed(steps, 2) == (*steps[:2], *steps[3:])
    assert repeated(steps, 2)[2:4] == (steps[2], steps[2])
    with pytest.raises(NoSuchStep):
        moved(steps, 0, len(steps))


def test_an_edit_is_kept_and_can_be_undone(cast: Cast) -> None:
    draft = begin_programme(episode=arm_episode(cast.therapist), by=cast.therapist)
    before = draft.steps
    edited = edit_draft(
        programme=draft, edit=edit_of(draft, Act.REMOVE, 4), revision=0, by=cast.therapist
    )
    assert len(edited.steps) == len(before) - 1
    assert not edited.is_as_planned
    back = undo(programme=edited, revision=edited.revision, by=cast.therapist)
    back.refresh_from_db()
    assert steps_of(back.steps) == steps_of(before)
    assert back.is_as_planned
    with pytest.raises(NothingToUndo):
        undo(programme=back, revision=back.revision, by=cast.therapist)


def test_saving_without_a_change_writes_nothing(cast: Cast) -> None:
    draft = begin_programme(episode=arm_episode(cast.therapist), by=cast.therapist)
    kept = edit_draft(programme=draft, edit=edit_of(draft), revision=0, by=cast.therapist)
    assert kept.revision == 0
    assert kept.is_as_planned


def test_minutes_follow_the_count_unless_they_were_typed(cast: Cast) -> None:
    draft = begin_programme(episode=arm_episode(cast.therapist), by=cast.therapist)
    steps = steps_of(draft.steps)
    typed = list(typed_of(steps))
    typed[3] = Typed(typed[3].repetitions + 5, typed[3].minutes)
    typed[4] = Typed(typed[4].repetitions + 5, 9.0)
    kept = edit_draft(programme=draft, edit=Edit(tuple(typed)), revision=0, by=cast.therapist)
    after = steps_of(kept.steps)
    assert after[3].minutes > steps[3].minutes
    assert after[4].minutes == 9.0


def test_two_editors_lose_nothing(cast: Cast) -> None:
    draft = begin_programme(episode=arm_episode(cast.therapist), by=cast.therapist)
    mine, theirs = edit_of(draft, Act.REMOVE, 4), edit_of(draft, Act.REMOVE, 7)
    edit_draft(programme=draft, edit=theirs, revision=0, by=cast.other_therapist)
    with pytest.raises(DraftChanged) as told:
        edit_draft(programme=draft, edit=mine, revision=0, by=cast.therapist)
    assert told.value.by == cast.other_therapist
    kept = edit_draft(programme=draft, edit=mine, revision=0, by=cast.therapist, is_forced=True)
    planned = steps_of(draft.steps)
    assert steps_of(kept.steps) == removed(planned, 4)
    back = undo(programme=kept, revision=kept.revision, by=cast.therapist)
    assert steps_of(back.steps) == removed(planned, 7)


def test_a_plan_nobody_edited_follows_the_clinician_s_choice(cast: Cast) -> None:
    draft = begin_programme(episode=arm_episode(cast.therapist), by=cast.therapist)
    helped = Choices(options=Options(helper_available=True))
    kept = choose(programme=draft, choices=helped, revision=0, by=cast.therapist)
    assert len(kept.steps) > len(draft.steps)
    assert any(step.needs_helper for step in steps_of(kept.steps))


def test_an_edited_plan_stays_and_is_judged_anew(cast: Cast) -> None:
    draft = begin_programme(episode=arm_episode(cast.therapist), by=cast.therapist)
    edited = edit_draft(
        programme=draft, edit=edit_of(draft, Act.REPEAT, 6), revision=0, by=cast.therapist
    )
    barred = Choices(not_working=frozenset({(Basin.GROIN, Side.LEFT)}))
    kept = choose(programme=edited, choices=barred, revision=1, by=cast.therapist)
    assert kept.steps == edited.steps
    assert not desk_of(kept).is_sound
    again = plan_again(programme=kept, revision=kept.revision, by=cast.therapist)
    assert desk_of(again).is_sound


def test_a_relative_precaution_is_cleared_for_one_programme_with_name_and_date(cast: Cast) -> None:
    episode = arm_episode(cast.therapist)
    has(episode, Precaution.CHEMOTHERAPY, cast.therapist)
    draft = begin_programme(episode=episode, by=cast.therapist)
    assert draft.steps == []
    cleared = Choices(clearances=(Clearance(Precaution.CHEMOTHERAPY, "Dr. Farrow", today()),))
    kept = choose(programme=draft, choices=cleared, revision=0, by=cast.therapist)
    assert desk_of(kept).is_sound


def test_choices_and_situations_come_back_unchanged_from_plain_values() -> None:
    choices = Choices(
        options=Options(helper_available=True, lesser_routes=True),
        working=frozenset({(Basin.AXILLA, Side.LEFT)}),
        not_working=frozenset({(Basin.GROIN, Side.RIGHT)}),
        clearances=(Clearance(Precaution.HEART_RHYTHM, "Dr. Farrow", today()),),
        forbidden=frozenset({"breast_upper_L"}),
        first_side=Side.RIGHT,
    )
    assert from_json(as_json(choices)) == choices
    situation = Situation(
        affected=(Affected(Region.ARM, RegionSide.LEFT), Affected(Region.BREAST, RegionSide.LEFT)),
        basins_not_working=frozenset({(Basin.AXILLA, Side.LEFT)}),
        precautions=frozenset({Precaution.PREGNANCY, Precaution.HEART_RHYTHM}),
        cleared=frozenset({Precaution.HEART_RHYTHM}),
        forbidden_nodes=frozenset({"breast_upper_L"}),
        phase=Phase.INTENSIVE,
        options=Options(limb_by_therapist_only=True),
        first_side=Side.LEFT,
    )
    assert situation_from_json(situation_as_json(situation)) == situation


def test_the_log_has_one_entry_for_a_person_s_many_edits(cast: Cast) -> None:
    draft = begin_programme(episode=arm_episode(cast.therapist), by=cast.therapist)
    for revision in range(3):
        edit = edit_of(Programme.objects.get(pk=draft.pk), Act.REMOVE, 4)
        edit_draft(programme=draft, edit=edit, revision=revision, by=cast.therapist)
    assert Entry.objects.filter(verb="programme.edited").count() == 1


def test_a_discarded_draft_is_gone(cast: Cast) -> None:
    draft = begin_programme(episode=arm_episode(cast.therapist), by=cast.therapist)
    discard_draft(programme=draft, by=cast.therapist)
    assert not Programme.objects.exists()
