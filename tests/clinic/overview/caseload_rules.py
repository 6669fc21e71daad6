"""Filters and order of the caseload told a second time, over the lines that the rules give.

The page asks the database for them; a test compares.
"""

from collections.abc import Callable, Iterable
from datetime import date
from typing import Any

from clinic.common.vocabulary import Phase, Stage
from clinic.overview.caseload import Asked, CaseloadLine, DueBy, JudgedAs, Order
from clinic.overview.concern import FlagKind
from measurements.limb.comparison import Verdict
from measurements.standing import Standing

STAGES, PHASES, FLAGS = list(Stage), list(Phase), list(FlagKind)


def fits(line: CaseloadLine, asked: Asked, *, today: date) -> bool:
    """Everything but whose, region and words."""
    return (
        (asked.phase is None or line.phase is asked.phase)
        and (asked.judged is None or _is_judged(line, asked.judged))
        and (asked.due is None or _is_due(line, asked.due, today))
        and (asked.flag is None or any(each.kind is asked.flag for each in line.flags))
    )


def _is_judged(line: CaseloadLine, wanted: JudgedAs) -> bool:
    if wanted is JudgedAs.NOT_TAPED:
        return not line.standings
    return any(JUDGEMENTS[wanted](each) for each in line.standings)


JUDGEMENTS: dict[JudgedAs, Callable[[Standing], bool]] = {
    JudgedAs.WORSE: lambda each: each.is_worse,
    JudgedAs.BETTER: lambda each: each.is_better,
    JudgedAs.STEADY: lambda each: each.direction is not None and not each.direction.is_beyond_error,
    JudgedAs.EXCESS: lambda each: each.verdict is Verdict.BEYOND_ERROR_UP,
    JudgedAs.NO_EXCESS: lambda each: each.verdict not in (None, Verdict.BEYOND_ERROR_UP),
}


def _is_due(line: CaseloadLine, wanted: DueBy, today: date) -> bool:
    if wanted is DueBy.NOTHING:
        return not line.owed
    if wanted is DueBy.SOON:
        return bool(line.owed)
    return bool(line.owed) and line.owed[0].due_on < today


def in_order(lines: Iterable[CaseloadLine], asked: Asked) -> list[CaseloadLine]:
    """The lines as asked; by name where they are alike, and those without a value last."""
    by_name = sorted(
        lines, key=lambda line: (line.folded_name, line.record_number, line.episode_id)
    )
    value = KEYS[asked.order]
    known = [line for line in by_name if value(line) is not None]
    unknown = [line for line in by_name if value(line) is None]
    return [*sorted(known, key=value, reverse=asked.is_descending), *unknown]


def _excess(line: CaseloadLine) -> float | None:
    known = [each.percent for each in line.standings if each.percent is not None]
    return -max(known) if known else None


def _change(line: CaseloadLine) -> float | None:
    """Of the limb that did worst."""
    worst = max(line.standings, key=lambda each: (each.is_worse, each.percent or 0.0), default=None)
    return -worst.told_change.change_ml if worst and worst.told_change else None


def _stage(line: CaseloadLine) -> int | None:
    ranks = [STAGES.index(each.stage) for each in line.regions if each.stage is not None]
    return -max(ranks) if ranks else None


KEYS: dict[Order, Callable[[CaseloadLine], Any]] = {
    Order.CONCERN: lambda line: line.pressing,
    Order.NAME: lambda line: line.folded_name,
    Order.REGION: lambda line: line.regions[0].name if line.regions else None,
    Order.PHASE: lambda line: (PHASES.index(line.phase), line.phase_since_on),
    Order.STAGE: _stage,
    Order.EXCESS: _excess,
    Order.CHANGE: _change,
    Order.VISITS: lambda line: -line.visits,
    Order.NEXT: lambda line: line.next_on,
    Order.DUE: lambda line: line.owed[0].due_on if line.owed else None,
    Order.FLAGS: lambda line: (
        (not line.flags[0].is_urgent, FLAGS.index(line.flags[0].kind)) if line.flags else None
    ),
    Order.THERAPIST: lambda line: line.therapist,
}
