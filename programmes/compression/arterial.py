"""When compression is barred or limited by the arteries of a leg.

Pressures in mmHg; the ankle-brachial pressure index (ABPI) is a ratio without unit.
"""

from dataclasses import dataclass

from clinic.common.vocabulary import Word


class ArterialAdvice(Word):
    """What the index says about compressing a leg; the label is the sentence."""

    BARRED = "barred", "ABPI below {bar_below:g}: no compression. Send to a vascular specialist."
    LIMITED = (
        "limited",
        "ABPI {bar_below:g} to {warn_below:g}: reduced pressure only, and only when a physician"
        " agrees.",
    )
    OPEN = "open", "ABPI {warn_below:g} to {warn_above:g}: no arterial limit."
    STIFF = (
        "stiff",
        "ABPI above {warn_above:g}: the vessels may be too stiff for the index; use toe pressure"
        " and ask a specialist.",
    )


@dataclass(frozen=True)
class ArterialLimits:
    """Where advice changes. The sources disagree on the floor (0.5, 0.6, 0.8): a clinic's choice.

    Barred below 0.6: Rabe & Pannier, summary of the 2020 consensus on compression risks. 0.8 and
    1.3: UK community advice on stockings, a4medicine.com. Reduced pressure between 0.5 and 0.8:
    Lymphoedema Framework, Best Practice, 2006; from memory, not re-read.
    """

    bar_below: float = 0.6
    warn_below: float = 0.8
    warn_above: float = 1.3


# Barred below these as well: Rabe & Pannier, summary of the 2020 consensus on compression risks.
ANKLE_FLOOR_MMHG = 60
TOE_FLOOR_MMHG = 30
TCPO2_FLOOR_MMHG = 20

DEFAULT_LIMITS = ArterialLimits()

# No ABPI is below 0, and stiff vessels seldom give one above 3; common practice, no source.
HIGHEST_ABPI = 3

CAUTION = (
    "Before a leg is compressed, know its arteries: ABPI below 0.6, ankle below 60 mmHg, toe below"
    " 30 mmHg or TcPO2 below 20 mmHg bar compression; licensed judgement and local rules decide."
)


def arterial_advice(abpi: float, limits: ArterialLimits = DEFAULT_LIMITS) -> ArterialAdvice:
    """What an ABPI says. A value on a limit is judged by the side it protects least: 0.6 is not
    below 0.6, 0.8 is not below 0.8, 1.3 is not above 1.3. Source: see ArterialLimits."""
    if abpi < limits.bar_below:
        return ArterialAdvice.BARRED
    if abpi < limits.warn_below:
        return ArterialAdvice.LIMITED
    return ArterialAdvice.STIFF if abpi > limits.warn_above else ArterialAdvice.OPEN


def advice_sentence(abpi: float, limits: ArterialLimits = DEFAULT_LIMITS) -> str:
    """The advice in one sentence with the clinic's limits in it."""
    return arterial_advice(abpi, limits).label.format(
        bar_below=limits.bar_below, warn_below=limits.warn_below, warn_above=limits.warn_above
    )


def is_barred_by_pressure(
    *,
    ankle_mmhg: float | None = None,
    toe_mmhg: float | None = None,
    tcpo2_mmhg: float | None = None,
) -> bool:
    """Whether any pressure that was taken lies below its floor. All in mmHg; None: not taken."""
    taken = (
        (ankle_mmhg, ANKLE_FLOOR_MMHG),
        (toe_mmhg, TOE_FLOOR_MMHG),
        (tcpo2_mmhg, TCPO2_FLOOR_MMHG),
    )
    return any(value is not None and value < floor for value, floor in taken)
