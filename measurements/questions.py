"""Which unusual girths of a session still wait for somebody to look again. Pure."""

from collections.abc import Iterable, Iterator, Mapping

from clinic.common.vocabulary import Limb, Sex, Side
from measurements.limb.girth import LimbGirths, Reading, limb_girths
from measurements.limb.plausibility import Question, questions, sides_question
from measurements.taped import Station


def limbs_taped(readings: Iterable[Reading], *, zero_mark: str) -> dict[Side, LimbGirths]:
    """The sides with at least two girths above 0, one a trial: those that can be judged."""
    kept = [reading for reading in readings if reading.girth_cm > 0]
    levels = {side: {each.level_cm for each in kept if each.side == side} for side in Side}
    return {
        side: limb_girths(kept, side, zero_mark=zero_mark) for side in Side if len(levels[side]) > 1
    }


def questions_about(
    limb: Limb,
    limbs: Mapping[Side, LimbGirths],
    *,
    sex: Sex,
    previous: Mapping[Side, LimbGirths],
    swollen: Side | None = None,
) -> tuple[Question, ...]:
    """All questions about both limbs of a session, asked of the pure package.

    `swollen` is the one swollen side; None where both are, neither is, or the limb is at risk only.
    """
    exchanged = _sides_question(limb, limbs, previous, swollen) if swollen else None
    return (*_girth_questions(limb, limbs, sex, previous), *([exchanged] if exchanged else ()))


def _girth_questions(
    limb: Limb, limbs: Mapping[Side, LimbGirths], sex: Sex, previous: Mapping[Side, LimbGirths]
) -> Iterator[Question]:
    return (
        question
        for side, girths in limbs.items()
        for question in questions(
            limb, girths, sex=sex, previous=previous.get(side), other=limbs.get(side.other)
        )
    )


def _sides_question(
    limb: Limb,
    limbs: Mapping[Side, LimbGirths],
    previous: Mapping[Side, LimbGirths],
    swollen: Side,
) -> Question | None:
    both, then = _pair(limbs, swollen), _pair(previous, swollen)
    return sides_question(limb, *both, previous=then) if both else None


def _pair(limbs: Mapping[Side, LimbGirths], swollen: Side) -> tuple[LimbGirths, LimbGirths] | None:
    """(swollen, other), when both were taped."""
    own, other = limbs.get(swollen), limbs.get(swollen.other)
    return (own, other) if own and other else None


def still_open(asked: Iterable[Question], confirmed: frozenset[Station]) -> tuple[Question, ...]:
    """The questions about stations that nobody has confirmed."""
    return tuple(each for each in asked if (each.side, each.level_cm) not in confirmed)
