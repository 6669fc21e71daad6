"""A therapist's edits of an order of steps. No Django; every edit gives a new order.

Indexes count from 0; an index that is not there raises NoSuchStep. Repetitions are whole counts,
minutes an estimate for the whole step.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from clinic.common.vocabulary import Word
from programmes.body.counting import minutes_of
from programmes.body.dose import Dose
from programmes.body.steps import Step
from programmes.body.territory import territory_map
from programmes.errors import NoSuchStep

Steps = tuple[Step, ...]
TEXTS = ("skin_care", "wear_schedule", "breathing", "stop_and_call")
REST = ("times_a_day", *TEXTS, "measures_at_home", "exercise_ids")


@dataclass(frozen=True)
class Typed:
    """What is typed into the fields of one step."""

    repetitions: int
    minutes: float
    note: str = ""


def moved(steps: Sequence[Step], start: int, end: int) -> Steps:
    """The step at `start` taken out and put in again at `end`."""
    _check(steps, start)
    _check(steps, end)
    rest = [*steps[:start], *steps[start + 1 :]]
    return (*rest[:end], steps[start], *rest[end:])


def removed(steps: Sequence[Step], index: int) -> Steps:
    _check(steps, index)
    return (*steps[:index], *steps[index + 1 :])


def repeated(steps: Sequence[Step], index: int) -> Steps:
    """The step once more, right after itself, without its note."""
    _check(steps, index)
    return (*steps[: index + 1], replace(steps[index], note=""), *steps[index + 1 :])


def with_typed(steps: Sequence[Step], typed: Sequence[Typed], dose: Dose) -> Steps:
    """Every step with what was typed into its fields; as many as there are steps.

    Where only the count was changed, the minutes follow it.
    """
    if len(typed) != len(steps):
        raise NoSuchStep
    return tuple(_with(step, one, dose) for step, one in zip(steps, typed, strict=True))


def _with(step: Step, typed: Typed, dose: Dose) -> Step:
    minutes = typed.minutes
    is_same_time = round(minutes, 1) == round(step.minutes, 1)
    if is_same_time and typed.repetitions == step.repetitions:
        minutes = step.minutes
    elif is_same_time:
        minutes = minutes_of(step, dose, territory_map(), repetitions=typed.repetitions)
    return replace(step, repetitions=typed.repetitions, minutes=minutes, note=typed.note)


class Act(Word):
    """What is done to one step."""

    MOVE = "move", "move"
    REMOVE = "remove", "remove"
    REPEAT = "repeat", "repeat"


@dataclass(frozen=True)
class Edit:
    """What one save of the editor carries. `end` is where a moved step goes.

    `typed` are the fields of every step; `rest` the other fields of the programme.
    """

    typed: tuple[Typed, ...]
    rest: Mapping[str, Any] = field(default_factory=dict)
    act: Act | None = None
    index: int = 0
    end: int = 0

    def applied(self, steps: Steps, dose: Dose) -> Steps:
        """The steps after this edit. Raises NoSuchStep."""
        steps = with_typed(steps, self.typed, dose)
        if self.act is Act.MOVE:
            return moved(steps, self.index, self.end)
        if self.act is Act.REMOVE:
            return removed(steps, self.index)
        return repeated(steps, self.index) if self.act is Act.REPEAT else steps


def _check(steps: Sequence[Step], index: int) -> None:
    if not 0 <= index < len(steps):
        raise NoSuchStep
