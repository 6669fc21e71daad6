"""Reads for a draft: the situation as the record stands now, its plan, and what is wrong."""

from dataclasses import dataclass, field
from functools import cached_property

from django.utils.safestring import SafeString

from clinic.accounts.models import Practice
from clinic.clients.models import Client, Episode
from clinic.clients.selectors import body_story, current_phase
from clinic.common.errors import RuleBroken
from clinic.common.vocabulary import Phase
from programmes.body.counting import count_for
from programmes.body.dose import DEFAULT_DOSE, Dose, Range, dose_with
from programmes.body.errors import NoSafeRoute, SituationUnclear
from programmes.body.planner import Plan, plan
from programmes.body.precautions import Effect, Effects, effects_of
from programmes.body.steps import Step, steps_of
from programmes.body.territory import territory_map
from programmes.body.validator import Violation, violations
from programmes.choices import Choices, from_json
from programmes.handout import pictures_of, regions_of
from programmes.models import ClinicDose, PrecautionReview, Programme
from programmes.situations import Ground, situation_from_record


@dataclass(frozen=True)
class StepLine:
    """One step of a draft with its sentences. `leaflets` and `taught` are ranges of counts."""

    index: int
    step: Step
    sentences: tuple[str, ...]
    leaflets: Range | None
    taught: Range | None

    @property
    def number(self) -> int:
        return self.index + 1

    @property
    def above(self) -> int:
        return self.index - 1

    @property
    def picture(self) -> SafeString:
        """The first drawing of the step."""
        return pictures_of(self.step)[0]


@dataclass(frozen=True)
class Desk:
    """Everything the editor shows about a draft."""

    programme: Programme
    ground: Ground
    steps: tuple[Step, ...]
    dose: Dose
    plan: Plan | None
    why_none: RuleBroken | None
    found: tuple[Violation, ...]
    effects: Effects = field(default_factory=lambda: effects_of(()))

    @property
    def is_sound(self) -> bool:
        return bool(self.steps) and not self.found and self.why_none is None

    @property
    def is_out_of_date(self) -> bool:
        """True if nobody edited the plan and the record would now give another."""
        return (
            self.programme.is_as_planned and self.plan is not None and self.plan.steps != self.steps
        )

    @property
    def minutes(self) -> float:
        return sum(step.minutes for step in self.steps)

    @property
    def reasons_against(self) -> tuple[str, ...]:
        """Why a precaution bars every step, for the record."""
        barring = (*self.effects.barring, *self.effects.awaiting_clearance)
        return tuple(effect.reason for effect in barring)

    @property
    def affected_words(self) -> str:
        situation = self.ground.situation
        return ", ".join(regions_of(situation.affected)) if situation else ""

    @property
    def treated_words(self) -> str:
        situation = self.ground.situation
        treated = sorted(situation.treated_basins) if situation else []
        return ", ".join(f"{side.label} {basin.label}" for basin, side in treated)

    @property
    def precaution_words(self) -> str:
        return ", ".join(one.precaution.label for one in self._all_effects())

    def _all_effects(self) -> tuple[Effect, ...]:
        return (*self.effects.standing, *self.effects.cleared)

    @property
    def general(self) -> tuple[str, ...]:
        """Sentences about the programme as a whole."""
        return tuple(one.sentence for one in self.found if one.index is None)

    @cached_property
    def lines(self) -> tuple[StepLine, ...]:
        said: dict[int, list[str]] = {}
        for one in self.found:
            if one.index is not None:
                said.setdefault(one.index, []).append(one.sentence)
        return tuple(
            self._line(index, step, tuple(said.get(index, ())))
            for index, step in enumerate(self.steps)
        )

    def _line(self, index: int, step: Step, sentences: tuple[str, ...]) -> StepLine:
        count = count_for(step, self.dose, territory_map())
        return StepLine(index, step, sentences, count.leaflets, count.taught)


def clinic_dose() -> Dose:
    """The clinic's counts; those of the leaflets until it has set its own. One query."""
    own = ClinicDose.objects.filter(pk=1).first()
    return dose_with(own.counts) if own else DEFAULT_DOSE


def ground_of(episode: Episode, choices: Choices) -> Ground:
    """The situation as the record stands now. Seven queries."""
    story = body_story(episode.client)
    phase = Phase(current_phase(episode).phase)
    regions = list(episode.regions.all())
    try:
        situation = situation_from_record(regions, story, phase=phase, choices=choices)
    except SituationUnclear as error:
        return Ground(story, choices, phase, None, error)
    return Ground(story, choices, phase, situation)


def plan_or_why(ground: Ground, dose: Dose) -> tuple[Plan | None, RuleBroken | None]:
    """The plan for this ground, or the broken rule that says why there is none."""
    if ground.situation is None:
        return None, ground.unclear
    try:
        return plan(ground.situation, dose=dose), None
    except NoSafeRoute as error:
        return None, error


def desk_of(programme: Programme, steps: tuple[Step, ...] | None = None) -> Desk:
    """The draft as the editor shows it; `steps` in place of the stored ones for a try-out."""
    dose = clinic_dose()
    ground = ground_of(programme.episode, from_json(programme.choices))
    steps = steps_of(programme.steps) if steps is None else steps
    made, why_none = plan_or_why(ground, dose)
    found: tuple[Violation, ...] = ()
    effects = effects_of(())
    if ground.situation is not None:
        found = violations(steps, ground.situation, dose=dose) if steps else ()
        effects = effects_of(ground.situation.precautions, cleared=ground.situation.cleared)
    return Desk(programme, ground, steps, dose, made, why_none, found, effects)


def last_review(client: Client) -> PrecautionReview | None:
    """The last time the precautions were asked. One query."""
    return PrecautionReview.objects.filter(client=client).select_related("asked_by").first()


def practice() -> Practice:
    """The practice as it is printed. One query."""
    return Practice.objects.first() or Practice()
