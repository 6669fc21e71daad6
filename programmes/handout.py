"""The handout as frozen values: what a client reads, in the order it is read. No database.

A step done before, or done before on the other side, is an echo: it keeps its number, its place and
its drawing and refers to the step it repeats, so that a long programme stays on three pages.
"""

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from functools import lru_cache
from itertools import groupby
from typing import Any

from django.template.loader import render_to_string
from django.utils.safestring import SafeString

from clinic.accounts.models import PaperSize
from clinic.common.vocabulary import RegionSide
from programmes.body.situation import Affected
from programmes.body.steps import Chapter, Step, Technique
from programmes.body.territory import mirrored_id, territory_map
from programmes.body.wording import TOUCH_RULES, TREATED
from programmes.drawing.picture import drawings_of
from programmes.texts import EMERGENCY, MEASURE, PLAIN_REGION, UNWELL, lines_of

NO_BREAK = "\N{NO-BREAK SPACE}"
OFTEN = {1: "once a day", 2: "twice a day"}
DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")


@dataclass(frozen=True)
class Card:
    """One step as it is printed. `echoes` is the number of the step it repeats, if it does."""

    number: int
    title: str
    parts: str
    count: str
    direction: str
    hand: str
    why: str
    position: str
    note: str
    drawings: tuple[SafeString, ...]
    echoes: int | None = None
    is_mirror: bool = False
    is_new_position: bool = False
    has_own_why: bool = False


@dataclass(frozen=True)
class Section:
    """The steps of one part of the programme. `why` is said once for all of them."""

    title: str
    why: str
    cards: tuple[Card, ...]


@dataclass(frozen=True)
class People:
    """Who the sheet is for and from, as printed."""

    client: str
    therapist: str
    practice: str
    phone: str
    given_on: date
    paper_size: PaperSize

    def as_json(self) -> dict[str, str]:
        return {
            "client": self.client,
            "therapist": self.therapist,
            "practice": self.practice,
            "phone": self.phone,
            "given_on": self.given_on.isoformat(),
            "paper_size": self.paper_size.value,
        }

    @classmethod
    def from_json(cls, kept: Mapping[str, Any]) -> "People":
        return cls(
            **{
                **kept,
                "given_on": date.fromisoformat(kept["given_on"]),
                "paper_size": PaperSize(kept["paper_size"]),
            }
        )


@dataclass(frozen=True)
class Rest:
    """Everything of a programme that is not a step; texts with one thought a line."""

    times_a_day: int
    skin_care: str
    wear_schedule: str
    breathing: str
    stop_and_call: str
    measures_at_home: bool
    exercises: tuple[Mapping[str, str], ...]


@dataclass(frozen=True)
class ShortList:
    """A heading and lines of one thought each."""

    title: str
    lines: Sequence[str]


@dataclass(frozen=True)
class Handout:
    """One whole sheet."""

    people: People
    regions: tuple[str, ...]
    minutes: int
    sections: tuple[Section, ...]
    skipped: tuple[str, ...]
    rest: Rest
    is_draft: bool = False

    touch_rules = TOUCH_RULES
    emergency = EMERGENCY
    unwell = UNWELL
    measure = MEASURE
    days = DAYS

    @property
    def what_for(self) -> str:
        """The regions, such as "left arm and left breast"."""
        return _listed(list(self.regions))

    @property
    def for_words(self) -> str:
        """The same as said to the client: "your left arm", "both arms and your neck"."""
        first, *others = self.regions or ("body",)
        more = [f"your {name}" if first.startswith("both ") else name for name in others]
        return _listed([first if first.startswith("both ") else f"your {first}", *more])

    @property
    def number_of_steps(self) -> int:
        return sum(len(section.cards) for section in self.sections)

    @property
    def cautions(self) -> tuple[str, ...]:
        return tuple(lines_of(self.rest.stop_and_call))

    @property
    def often(self) -> str:
        return OFTEN.get(self.rest.times_a_day, f"{self.rest.times_a_day} times a day")

    @property
    def short_lists(self) -> tuple[ShortList, ...]:
        """What comes after the steps, as it is read; empty lists are not printed."""
        rest = self.rest
        between = [*lines_of(rest.breathing), *([MEASURE] if rest.measures_at_home else [])]
        lists = (
            ShortList("Skin care", lines_of(rest.skin_care)),
            ShortList("What to wear", lines_of(rest.wear_schedule)),
            ShortList("In between", between),
            ShortList("Exercises", [exercise_words(one) for one in rest.exercises]),
        )
        return tuple(one for one in lists if one.lines)

    @property
    def diary_rows(self) -> tuple[str, ...]:
        wanted = (
            ("I did my steps", True),
            ("Hard steps (number)", True),
            ("I did my exercises", bool(self.rest.exercises)),
            ("I wore my garment", bool(self.rest.wear_schedule)),
            ("I measured", self.rest.measures_at_home),
        )
        return tuple(row for row, is_wanted in wanted if is_wanted)


def exercise_words(exercise: Mapping[str, str]) -> str:
    """One exercise as a line: name, position, what to do, how often."""
    parts = (exercise["name"], exercise["position"], exercise["how"], exercise["dose"])
    return " ".join(part if part.endswith(".") else f"{part}." for part in parts if part)


def short_name(given_name: str, family_name: str) -> str:
    """First name and initial: all that a sheet lying about at home gives away."""
    return f"{given_name} {family_name[:1]}." if family_name else given_name


def regions_of(affected: Iterable[Affected]) -> tuple[str, ...]:
    """The regions as a client names them, such as "left arm" or "both legs"."""
    names = []
    for region in affected:
        side = "" if region.side is RegionSide.MIDLINE else f"{region.side.label} "
        names.append(f"{side}{PLAIN_REGION[region.region]}")
    return _both_sides(list(dict.fromkeys(names)))


def _both_sides(names: list[str]) -> tuple[str, ...]:
    merged: list[str] = []
    for name in names:
        side, _, rest = name.partition(" ")
        other = {"left": "right", "right": "left"}.get(side, "")
        if other and f"{other} {rest}" in names:
            merged.append(f"{rest}, both sides" if rest.endswith("y") else f"both {rest}s")
        else:
            merged.append(name)
    return tuple(dict.fromkeys(merged))


def _listed(names: list[str]) -> str:
    return " and ".join(filter(None, [", ".join(names[:-1]), names[-1]])) if names else ""


def sections_of(steps: Sequence[Step]) -> tuple[Section, ...]:
    """Consecutive steps of one chapter, each with its card."""
    cards = _cards(steps)
    numbered = list(zip(steps, cards, strict=True))
    return tuple(
        _section(title, [card for _, card in run])
        for title, run in groupby(numbered, key=lambda pair: _heading(pair[0]))
    )


def _heading(step: Step) -> str:
    """The chapter, with the limb named where one is cleared."""
    place = territory_map().places.get(step.node or "")
    if step.chapter is Chapter.LIMB and place is not None and place.side is not None:
        return f"Clear the {place.side.label} {place.limb.split('_')[0]}"
    return step.chapter.label


def _section(title: str, cards: list[Card]) -> Section:
    whys = Counter(card.why for card in cards if not card.has_own_why)
    why = whys.most_common(1)[0][0] if whys else ""
    return Section(title=title, why=why, cards=tuple(cards))


def _cards(steps: Sequence[Step]) -> list[Card]:
    seen: dict[tuple[Any, ...], int] = {}
    cards: list[Card] = []
    position = ""
    for number, step in enumerate(steps, start=1):
        card = _card(number, step)
        card = replace(card, is_new_position=step.position != position, **_echo(step, seen))
        seen.setdefault(_likeness(step), number)
        position = step.position
        cards.append(card)
    return cards


def _card(number: int, step: Step) -> Card:
    title, _, parts = step.place.partition(": ")
    if step.technique.is_breathing:
        title = step.technique.label
    return Card(
        number=number,
        title=_capital(title),
        parts=f"{_capital(parts)}." if parts else "",
        count=count_words(step),
        direction=step.direction,
        hand=step.hand,
        why=step.why,
        position=step.position,
        note=step.note,
        drawings=pictures_of(step),
        has_own_why=step.why == TREATED,
    )


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:]


def _likeness(step: Step) -> tuple[Any, ...]:
    return (step.technique, step.node, step.path, step.also, step.parts)


def _echo(step: Step, seen: Mapping[tuple[Any, ...], int]) -> dict[str, Any]:
    """The earlier step this one repeats, on the same side or on the other."""
    if _likeness(step) in seen:
        return {"echoes": seen[_likeness(step)]}
    if step.why == TREATED:
        return {}
    turned = (
        step.technique,
        mirrored_id(step.node) if step.node else None,
        tuple(map(mirrored_id, step.path)),
        tuple(map(mirrored_id, step.also)),
        step.parts,
    )
    if turned in seen:
        return {"echoes": seen[turned], "is_mirror": True}
    return {}


def count_words(step: Step) -> str:
    """How often, in words: "10 circles at each place". The number stays with its word."""
    several = len(step.parts) > 1 or bool(step.also)
    each = " at each place" if several else ""
    if step.technique.is_breathing:
        words = "slow breaths"
    elif step.technique is Technique.FINGER_PASSES:
        words = "times each"
    elif step.technique is Technique.SWEEP:
        words = "long strokes"
    elif step.technique is Technique.CIRCLES and not step.path:
        words = f"circles{each}"
    else:
        words = f"times{each}"
    return f"{step.repetitions}{NO_BREAK}{words}"


def pictures_of(step: Step) -> tuple[SafeString, ...]:
    """The drawings of a step as SVG text, made once for each kind of step."""
    return _pictures(step.technique, step.node, step.also, step.path, step.parts)


@dataclass(frozen=True)
class _Stroke:
    technique: str
    node: str | None
    also: tuple[str, ...]
    path: tuple[str, ...]
    parts: tuple[str, ...]


@lru_cache(maxsize=2048)
def _pictures(technique: str, node: str | None, *places: tuple[str, ...]) -> tuple[SafeString, ...]:
    names = {name: place.plain for name, place in territory_map().places.items()}
    drawings = drawings_of(_Stroke(technique, node, *places), names)
    return tuple(
        render_to_string("programmes/_drawing.html", {"drawing": drawing}) for drawing in drawings
    )


def texts_read(handout: Handout) -> Iterator[str]:
    """Every sentence a client reads, for the reading grade and for search."""
    for section in handout.sections:
        yield section.why
        for card in section.cards:
            yield from filter(None, (card.parts, card.direction, card.hand, card.note))
    yield from (*handout.touch_rules, *handout.cautions, *handout.skipped)
    yield from (handout.emergency, handout.unwell)
    for short in handout.short_lists:
        yield from short.lines
