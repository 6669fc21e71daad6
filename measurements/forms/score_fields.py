"""Numbers of an instrument as they are typed, and what each way of entry makes of them."""

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from django import forms

from clinic.common.errors import RuleBroken
from clinic.common.vocabulary import Side
from measurements.limb import outcome
from measurements.limb.instruments import InstrumentSpec, Part, check_decimals, check_range
from measurements.limb.outcome import ItemRule
from measurements.limb.score_errors import AnswerNotReadable, NothingScored
from measurements.score_sentences import sentence
from measurements.scored import SIDES, ScoreTaken, Series, kept
from measurements.typed_numbers import number_typed

ACTIVITY_LENGTH = 80
GAPS, NO_ANSWER = " ,;\t", "-\N{EN DASH}_x"
ANSWERS_LENGTH = 200

Cleaned = Mapping[str, Any]
Scores = tuple[ScoreTaken, ...]


class ScoreField(forms.CharField):
    """One number of an instrument, point or comma; empty is None."""

    def __init__(self, spec: InstrumentSpec, *, part: Part | None = None, **kwargs: Any) -> None:
        kwargs.setdefault("help_text", "")
        widget = forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off", "size": 6})
        super().__init__(required=False, max_length=12, widget=widget, **kwargs)
        self.spec, self.part = spec, part

    def clean(self, value: Any) -> Decimal | None:
        text = super().clean(value)
        try:
            return self._number(text) if text else None
        except RuleBroken as error:
            raise forms.ValidationError(sentence(error)) from error

    def _number(self, text: str) -> Decimal:
        number = number_typed(text)
        check_range(self.spec, float(number), part=self.part)
        check_decimals(self.spec, float(number))
        return number


class AnswersField(forms.CharField):
    """Answers in the order of the items, one digit each; spaces and commas may stand between."""

    def __init__(self, rule: ItemRule, **kwargs: Any) -> None:
        widget = forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off"})
        super().__init__(
            required=False,
            max_length=ANSWERS_LENGTH,
            widget=widget,
            label=f"Answers to items 1 to {rule.items}",
            help_text=f"In order, one digit from {rule.lowest} to {rule.highest} each, and - where"
            " there is no answer; spaces may stand between.",
            **kwargs,
        )
        self.rule = rule

    def clean(self, value: Any) -> tuple[int | None, ...] | None:
        text = super().clean(value)
        try:
            return self._answers(text) if text else None
        except RuleBroken as error:
            raise forms.ValidationError(sentence(error)) from error

    def _answers(self, text: str) -> tuple[int | None, ...]:
        answers = answers_typed(text)
        outcome.item_score(answers, self.rule)
        return answers


def answers_typed(text: str) -> tuple[int | None, ...]:
    """ "3 2-4" -> 3, 2, no answer, 4. Raises AnswerNotReadable."""
    signs = [sign for sign in text.lower() if sign not in GAPS]
    for sign in signs:
        if sign not in NO_ANSWER and not (sign.isascii() and sign.isdigit()):
            raise AnswerNotReadable(sign)
    return tuple(None if sign in NO_ANSWER else int(sign) for sign in signs)


# What each way of entry makes of a valid form; all raise NothingScored and the errors of `outcome`.


def read_ratings(spec: InstrumentSpec, cleaned: Cleaned) -> Scores:
    ratings = [cleaned[name] for name in ("now", "usual", "worst")]
    typed = tuple(_some(ratings))
    if len(typed) == 1 and cleaned["now"] is None:
        raise forms.ValidationError({"now": "Type pain now alone, or all three."})
    part = Part.NOW if len(typed) == 1 else Part.MEAN
    score = outcome.pain_score([float(each) for each in typed])
    return (ScoreTaken(Series(spec.instrument, part=part), kept(score), typed),)


def read_activities(spec: InstrumentSpec, cleaned: Cleaned) -> Scores:
    numbers = range(1, outcome.MOST_ACTIVITIES + 1)
    rows = [(n, cleaned[f"activity_{n}"].strip(), cleaned[f"able_{n}"]) for n in numbers]
    for number, words, able in rows:
        if words and able is None:
            raise _beside(f"able_{number}", "Score this activity too, or clear its words.")
        if able is not None and not words:
            raise _beside(f"activity_{number}", "Say in the client's words what this score is of.")
    words = tuple(words for _, words, able in rows if able is not None)
    scores = tuple(_some([able for _, _, able in rows]))
    score = outcome.function_score([float(each) for each in scores])
    return (ScoreTaken(Series(spec.instrument, activities=words), kept(score), scores),)


def read_answers(spec: InstrumentSpec, cleaned: Cleaned) -> Scores:
    answers = cleaned["answers"]
    if answers is None or spec.items is None:
        return read_total(spec, cleaned)
    if cleaned["total"] is not None:
        raise _beside("total", "Type the answers or the score, not both.")
    score = outcome.item_score(answers, spec.items)
    items = tuple(None if each is None else Decimal(each) for each in answers)
    return (ScoreTaken(Series(spec.instrument), kept(score), items),)


def read_total(spec: InstrumentSpec, cleaned: Cleaned) -> Scores:
    (total,) = _some([cleaned["total"]])
    return (ScoreTaken(Series(spec.instrument), kept(total)),)


def read_grid(spec: InstrumentSpec, cleaned: Cleaned) -> Scores:
    places = [(side, part) for part in spec.parts for side in SIDES]
    typed = {place: cleaned["_".join(place)] for place in places}
    _some(list(typed.values()))
    return tuple(
        ScoreTaken(Series(spec.instrument, side, part), kept(number))
        for (side, part), number in typed.items()
        if number is not None
    )


def read_trials(spec: InstrumentSpec, cleaned: Cleaned) -> Scores:
    numbers = range(1, outcome.GRIP_TRIALS + 1)
    sides = {side: [cleaned[f"{side}_{n}"] for n in numbers] for side in SIDES}
    _some([trial for trials in sides.values() for trial in trials])
    tried = {side: trials for side, trials in sides.items() if trials != [None] * len(trials)}
    return tuple(_trials_taken(spec, side, trials) for side, trials in tried.items())


def _trials_taken(spec: InstrumentSpec, side: Side, trials: list[Decimal | None]) -> ScoreTaken:
    typed = tuple(_some(trials))
    score = outcome.grip_score([float(each) for each in typed], side)
    return ScoreTaken(Series(spec.instrument, side), kept(score), typed)


def _some(numbers: list[Decimal | None]) -> list[Decimal]:
    """Those typed. Raises NothingScored where there are none."""
    typed = [number for number in numbers if number is not None]
    if not typed:
        raise NothingScored
    return typed


def _beside(field: str, words: str) -> forms.ValidationError:
    return forms.ValidationError({field: words})
