"""Which unusual girths of a session still wait for somebody to look again. Pure."""

from collections.abc import Iterable, Mapping

from clinic.common.vocabulary import Limb, Sex, Side
from measurements.limb.girth import LimbGirths, Reading, limb_girths
from measurements.limb.plausibility import Question, questions
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
) -> tuple[Question, ...]:
    """All questions about both limbs of a session, asked of the pure package."""
    return tuple(
        question
        for side, girths in limbs.items()
        for question in questions(
            limb, girths, sex=sex, previous=previous.get(side), other=limbs.get(side.other)
        )
    )


def still_open(asked: Iterable[Question], confirmed: frozenset[Station]) -> tuple[Question, ...]:
    """The questions about stations that nobody has confirmed."""
    return tuple(each for each in asked if (each.side, each.level_cm) not in confirmed)
