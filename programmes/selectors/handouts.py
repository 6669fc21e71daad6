"""The handout of a draft, as it would be printed today, and of an issued programme, as it was."""

from collections.abc import Iterable, Mapping
from typing import Any

from django.utils import timezone

from clinic.accounts.models import PaperSize, User
from programmes.body.steps import Step, steps_of
from programmes.handout import Handout, People, Rest, regions_of, sections_of, short_name
from programmes.models import ClinicExercise, Programme
from programmes.selectors.drafts import Desk, practice
from programmes.situations import situation_from_json


def draft_handout(desk: Desk, by: User, *, is_draft: bool = True) -> Handout:
    """The sheet as it would be given today by this person. Two queries."""
    programme = desk.programme
    situation = desk.ground.situation
    return Handout(
        people=people_of(programme, by),
        regions=regions_of(situation.affected) if situation else (),
        minutes=minutes_of(desk.steps),
        sections=sections_of(desk.steps),
        skipped=skipped_words(desk),
        rest=rest_of(programme, exercise_rows(programme.exercise_ids)),
        is_draft=is_draft,
    )


def given_handout(programme: Programme) -> Handout:
    """An issued programme's sheet from what was kept. No query."""
    kept, steps = programme.printed or {}, steps_of(programme.steps)
    situation = situation_from_json(programme.situation or {})
    return Handout(
        people=People.from_json(kept["people"]),
        regions=regions_of(situation.affected),
        minutes=minutes_of(steps),
        sections=sections_of(steps),
        skipped=tuple((programme.left_out or {}).get("client", ())),
        rest=rest_of(programme, programme.exercises),
    )


def minutes_of(steps: tuple[Step, ...]) -> int:
    """Whole minutes of one session, at least one."""
    return max(1, round(sum(step.minutes for step in steps)))


def people_of(programme: Programme, by: User) -> People:
    client, house = programme.episode.client, practice()
    return People(
        client=short_name(client.given_name, client.family_name),
        therapist=by.signature,
        practice=house.name,
        phone=house.phone,
        given_on=timezone.localdate(),
        paper_size=PaperSize(house.paper_size),
    )


def skipped_words(desk: Desk) -> tuple[str, ...]:
    """What is left out or minded, once each, in the client's words."""
    if desk.plan is None:
        return ()
    words = (*(one.plain for one in desk.plan.left_out), *desk.plan.client_notes)
    return tuple(dict.fromkeys(words))


def rest_of(programme: Programme, exercises: Iterable[Mapping[str, Any]]) -> Rest:
    return Rest(
        times_a_day=programme.times_a_day,
        skin_care=programme.skin_care,
        wear_schedule=programme.wear_schedule,
        breathing=programme.breathing,
        stop_and_call=programme.stop_and_call,
        measures_at_home=programme.measures_at_home,
        exercises=tuple(exercises),
    )


def exercise_rows(chosen: list[int]) -> list[dict[str, str]]:
    """The chosen exercises as plain rows, in the order of the clinic's list. One query."""
    rows = ClinicExercise.objects.filter(pk__in=chosen)
    return [dict(row) for row in rows.values("name", "position", "how", "dose")]
