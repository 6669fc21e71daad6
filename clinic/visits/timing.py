"""Timed units: how the minutes of a day's treatment become units. Pure: standard library only.

Minutes are whole minutes in which the client was treated; preparation, rest and waiting are not
counted. Nothing here is changed silently: what looks odd comes back as a warning.
"""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from clinic.common.vocabulary import Word
from clinic.visits.timing_errors import MinutesTooFew, MinutesTooMany, TimedAndUntimed

# One unit stands for a quarter of an hour, and 8 minutes or more left over count as one more:
# CMS Medicare Claims Processing Manual (Pub. 100-04), chapter 5, 20.2 C.
UNIT_MIN = 15
LEAST_LEFT_OVER_MIN = 8

DAY_MIN = 24 * 60


class TimingRule(Word):
    """How minutes become units; the payer decides which.

    The first is of CMS (Pub. 100-04, chapter 5, 20.2 C). The second is the usual reading of the
    code book for other payers: from memory, not re-read.
    """

    EIGHT_MINUTE = "eight_minute", "the day's total minutes (8-minute rule)"
    MIDPOINT = "midpoint", "each service by itself (midpoint rule)"

    @property
    def other(self) -> "TimingRule":
        is_total = self is TimingRule.EIGHT_MINUTE
        return TimingRule.MIDPOINT if is_total else TimingRule.EIGHT_MINUTE


@dataclass(frozen=True, slots=True)
class Treated:
    """One service given, as entered; the same code may be entered more than once a day."""

    code: str
    minutes: int
    is_timed: bool


@dataclass(frozen=True, slots=True)
class ServiceUnits:
    """All of one service on one day. An untimed one is one unit, whatever its minutes."""

    code: str
    minutes: int
    is_timed: bool
    units: int

    @property
    def whole_units(self) -> int:
        """Whole quarter hours among the minutes."""
        return self.minutes // UNIT_MIN

    @property
    def left_over_min(self) -> int:
        """Minutes past the last whole quarter hour, 0 to 14."""
        return self.minutes % UNIT_MIN

    @property
    def has_one_more(self) -> bool:
        """Whether the minutes left over brought one more unit. Of a timed service only."""
        return self.is_timed and self.units > self.whole_units


@dataclass(frozen=True, slots=True)
class UnitCount:
    """The units of one day by one rule; services timed first, then in the order of their codes.

    `tie_any_of` are codes with equally many minutes left over of which only some could have one
    more unit: the choice among them is the clinician's.
    """

    rule: TimingRule
    services: tuple[ServiceUnits, ...]
    tie_any_of: tuple[str, ...] = ()

    @property
    def timed(self) -> tuple[ServiceUnits, ...]:
        return tuple(each for each in self.services if each.is_timed)

    @property
    def untimed(self) -> tuple[ServiceUnits, ...]:
        return tuple(each for each in self.services if not each.is_timed)

    @property
    def timed_min(self) -> int:
        """Minutes of all timed services."""
        return sum(each.minutes for each in self.timed)

    @property
    def treatment_min(self) -> int:
        """Minutes of all treatment, timed and untimed."""
        return sum(each.minutes for each in self.services)

    @property
    def left_over_min(self) -> int:
        """Timed minutes of the day past its last whole quarter hour, 0 to 14."""
        return self.timed_min % UNIT_MIN

    @property
    def timed_units(self) -> int:
        return sum(each.units for each in self.timed)

    @property
    def total_units(self) -> int:
        """Timed units and one for each untimed service."""
        return sum(each.units for each in self.services)

    def units_by_code(self) -> dict[str, int]:
        return {each.code: each.units for each in self.services}


class WarningKind(Word):
    """What is odd about a day's minutes. Nothing is changed or barred by it."""

    PAST_VISIT = "past_visit", "more minutes than the visit"
    NO_UNIT = "no_unit", "a service without a unit"
    RULES_DISAGREE = "rules_disagree", "the rules disagree"


@dataclass(frozen=True, slots=True)
class TimingWarning:
    """One oddity, the codes it is about, and the sentence a person reads."""

    kind: WarningKind
    sentence: str
    codes: tuple[str, ...] = ()


def timed_units(minutes: int) -> int:
    """Units for the timed minutes of one day together: 8 to 22 are 1, 23 to 37 are 2, and so on.

    Raises MinutesTooFew below 0 and MinutesTooMany past a day.
    Source: CMS Medicare Claims Processing Manual (Pub. 100-04), chapter 5, 20.2 C.
    """
    _require_a_day(minutes, least=0)
    return (minutes + UNIT_MIN - LEAST_LEFT_OVER_MIN) // UNIT_MIN


def midpoint_units(minutes: int) -> int:
    """Units for one service by itself: whole quarter hours, one more for 8 minutes left over.

    One service alone counts the same by both rules; they part where several share a day.
    Raises as `timed_units`. Source: code book guidance, from memory, not re-read.
    """
    _require_a_day(minutes, least=0)
    whole, left_over_min = divmod(minutes, UNIT_MIN)
    return whole + (left_over_min >= LEAST_LEFT_OVER_MIN)


def units_of(
    treated: Sequence[Treated], *, rule: TimingRule, preferred: Sequence[str] = ()
) -> UnitCount:
    """The units of one day's treatment by a rule. The order of entry changes nothing.

    The same code entered twice adds up; an untimed code is one unit a day. A tie goes to the
    codes in `preferred`, the clinician's choice; without one to more minutes, then to the lower
    code. Raises MinutesTooFew (0 or below), MinutesTooMany and TimedAndUntimed.
    Source of the sharing out: CMS Pub. 100-04, chapter 5, 20.2 C, examples 1 to 5.
    """
    minutes = _minutes_by_code(treated)
    timed = {each.code: minutes[each.code] for each in treated if each.is_timed}
    one_more, tie = _one_more(timed, rule, preferred)
    services = [
        ServiceUnits(code, spent, True, spent // UNIT_MIN + (code in one_more))
        for code, spent in sorted(timed.items())
    ]
    untimed = sorted(minutes.keys() - timed.keys())
    services += [ServiceUnits(code, minutes[code], False, 1) for code in untimed]
    return UnitCount(rule, tuple(services), tie)


def _minutes_by_code(treated: Sequence[Treated]) -> dict[str, int]:
    """Minutes of each code, checked."""
    minutes: Counter[str] = Counter()
    kinds: dict[str, bool] = {}
    for each in treated:
        _require_a_day(each.minutes, least=1, code=each.code)
        if kinds.setdefault(each.code, each.is_timed) != each.is_timed:
            raise TimedAndUntimed(each.code)
        minutes[each.code] += each.minutes
    _require_a_day(minutes.total(), least=0)
    return dict(minutes)


def _require_a_day(minutes: int, *, least: int, code: str = "") -> None:
    if minutes < least:
        raise MinutesTooFew(minutes, least, code)
    if minutes > DAY_MIN:
        raise MinutesTooMany(minutes, DAY_MIN, code)


def _one_more(
    timed: dict[str, int], rule: TimingRule, preferred: Sequence[str]
) -> tuple[frozenset[str], tuple[str, ...]]:
    """The codes that get one unit for their minutes left over, and those that tie for one."""
    left_over = {code: minutes % UNIT_MIN for code, minutes in timed.items()}
    if rule is TimingRule.MIDPOINT:
        enough = {code for code, left in left_over.items() if left >= LEAST_LEFT_OVER_MIN}
        return frozenset(enough), ()
    whole = sum(minutes // UNIT_MIN for minutes in timed.values())
    to_give = timed_units(sum(timed.values())) - whole
    chosen_first = {code: place for place, code in enumerate(reversed(preferred), start=1)}
    ranked = sorted(
        timed,
        key=lambda code: (-left_over[code], -chosen_first.get(code, 0), -timed[code], code),
    )
    return frozenset(ranked[:to_give]), _tie(ranked, to_give, left_over)


def _tie(ranked: list[str], to_give: int, left_over: dict[str, int]) -> tuple[str, ...]:
    """The codes level with both the last that got a unit and the first that did not."""
    if not 0 < to_give < len(ranked):
        return ()
    last, first_without = left_over[ranked[to_give - 1]], left_over[ranked[to_give]]
    if last != first_without:
        return ()
    return tuple(sorted(code for code in ranked if left_over[code] == last))


# In words


def explanation(count: UnitCount) -> tuple[str, ...]:
    """How the units came about: first the day, then each service, then a tie. Plain sentences."""
    sentences = []
    if count.rule is TimingRule.EIGHT_MINUTE and count.timed:
        sentences.append(_day_sentence(count))
    sentences += [_service_sentence(each, count.rule) for each in count.timed]
    if count.tie_any_of:
        sentences.append(_tie_sentence(count))
    sentences += [_untimed_sentence(each) for each in count.untimed]
    if count.untimed:
        sentences.append(
            f"{_minutes(count.treatment_min)} of treatment in all, {count.timed_min} of them timed."
        )
    return tuple(sentences)


def _day_sentence(count: UnitCount) -> str:
    begun = f"{_timed_minutes(count.timed_min)} in all"
    units = _units(count.timed_units)
    if count.timed_min < LEAST_LEFT_OVER_MIN:
        return f"{begun}: fewer than {LEAST_LEFT_OVER_MIN}, so no unit."
    whole = count.timed_min // UNIT_MIN
    if count.left_over_min == 0:
        return f"{begun}: {_quarters(whole)}, so {units}."
    verdict = (
        f"{LEAST_LEFT_OVER_MIN} or more count as one more"
        if count.left_over_min >= LEAST_LEFT_OVER_MIN
        else f"fewer than {LEAST_LEFT_OVER_MIN} do not count"
    )
    return (
        f"{begun}: {_quarters(whole)} and {count.left_over_min} left over; {verdict}, so {units}."
    )


def _service_sentence(each: ServiceUnits, rule: TimingRule) -> str:
    begun = f"{each.code}, {_minutes(each.minutes)}: {_quarters(each.whole_units)}"
    if each.left_over_min == 0:
        return f"{begun}, so {_units(each.units)}."
    left = f"{each.left_over_min} left over"
    if rule is TimingRule.MIDPOINT:
        size = "8 or more" if each.has_one_more else "fewer than 8"
        return f"{begun} and {left}, {size}, so {_units(each.units)}."
    if each.has_one_more:
        return f"{begun} and one more for the {left}, so {_units(each.units)}."
    return f"{begun}; the day's total has no unit for the {left}, so {_units(each.units)}."


def _tie_sentence(count: UnitCount) -> str:
    tied = [each for each in count.timed if each.code in count.tie_any_of]
    given = [each.code for each in tied if each.has_one_more]
    return (
        f"{_listed(count.tie_any_of)} have equally many minutes left over, so"
        f" {_units(len(given))} may go to any of them: here to {_listed(given)}."
        " The choice is yours."
    )


def _untimed_sentence(each: ServiceUnits) -> str:
    return (
        f"{each.code}, {_minutes(each.minutes)}, untimed: 1 unit a day, whatever its minutes;"
        " they stay out of the timed total."
    )


def _units(count: int) -> str:
    return {0: "no unit", 1: "1 unit"}.get(count, f"{count} units")


def _minutes(count: int) -> str:
    return "1 minute" if count == 1 else f"{count} minutes"


def _timed_minutes(count: int) -> str:
    return "1 timed minute" if count == 1 else f"{count} timed minutes"


def _quarters(count: int) -> str:
    words = {0: "no whole quarter hour", 1: "1 whole quarter hour"}
    return words.get(count, f"{count} whole quarter hours")


def _listed(codes: Sequence[str]) -> str:
    return codes[0] if len(codes) == 1 else f"{', '.join(codes[:-1])} and {codes[-1]}"


# What is odd


def warnings(count: UnitCount, *, visit_minutes: int | None = None) -> tuple[TimingWarning, ...]:
    """What a clinician should look at before signing; none of it changes a number.

    `visit_minutes` is the length of the visit, None where it is not known. Raises MinutesTooFew
    and MinutesTooMany when it is no length of a visit.
    """
    found = [_past_visit(count, visit_minutes), *map(_no_unit, count.timed), _disagreeing(count)]
    return tuple(warning for warning in found if warning)


def _past_visit(count: UnitCount, visit_minutes: int | None) -> TimingWarning | None:
    if visit_minutes is None:
        return None
    _require_a_day(visit_minutes, least=1)
    if count.treatment_min <= visit_minutes:
        return None
    return TimingWarning(
        WarningKind.PAST_VISIT,
        f"The services add up to {_minutes(count.treatment_min)}, but the visit took"
        f" {visit_minutes}. Check the minutes or the length of the visit.",
        tuple(each.code for each in count.services),
    )


def _no_unit(each: ServiceUnits) -> TimingWarning | None:
    if each.units:
        return None
    return TimingWarning(
        WarningKind.NO_UNIT,
        f"{each.code} was given for {_minutes(each.minutes)} and comes to no unit."
        " It stays in the note.",
        (each.code,),
    )


def _disagreeing(count: UnitCount) -> TimingWarning | None:
    treated = [Treated(each.code, each.minutes, True) for each in count.timed]
    other = units_of(treated, rule=count.rule.other)
    if other.timed_units == count.timed_units:
        return None
    return TimingWarning(
        WarningKind.RULES_DISAGREE,
        f"Counted by {count.rule.other.label} this would be {_units(other.timed_units)}, not"
        f" {_units(count.timed_units)}. Check which rule the payer uses.",
        tuple(
            mine.code
            for mine, theirs in zip(count.timed, other.timed, strict=True)
            if mine.units != theirs.units
        ),
    )
