"""Phrases of the clinic's own with blanks for the client's numbers. Pure.

A blank is a name in braces, as in "Excess {excess_ml}, {change} since {baseline_on}."; `{{` and
`}}` stand for a brace itself. A blank is a name and nothing else: no attribute, no index, no
format, so a phrase can reach nothing that was not handed to it.
"""

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from clinic.common.errors import RuleBroken

# Shown where a value is not known, so that nobody signs a sentence with a hole unseen.
BLANK = "____"

# What each blank means; values come written out, with unit and error, from who fills the phrase.
PLACEHOLDERS = {
    "given_name": "the client's given name",
    "limb": "the affected limb, such as right arm",
    "measured_on": "the day of the latest taping",
    "volume_ml": "volume of the affected limb",
    "excess_ml": "excess volume",
    "excess_percent": "excess volume in percent",
    "change": "change of the excess since baseline, with its error",
    "change_last": "change of the excess since the taping before",
    "relative_change": "relative volume change since baseline, in percent",
    "baseline_on": "the day of the baseline",
    "previous_on": "the day of the taping before the latest",
    "weight_kg": "weight at the latest taping",
    "stage": "the stage last found",
    "phase": "the phase of treatment",
    "treatment_day": "which treatment day of the episode this is",
    "minutes": "minutes of treatment today",
    "timed_minutes": "timed minutes today",
    "visited_on": "the day of this visit",
    "last_visited_on": "the day of the visit before",
    "next_on": "the day of the next booking",
    "report_due_on": "the day the next progress report is due",
    "certified_until_on": "the last day of the certification",
    "referrer": "the referrer's name",
    "therapist": "the therapist's name",
}

# A doubled brace, a blank (what stands in it is judged afterwards), or a brace left alone.
PIECE = re.compile(r"(?P<doubled>\{\{|\}\})|\{(?P<name>[^{}]*)\}|(?P<alone>[{}])")

# RuleBroken
# ├── UnknownPlaceholder
# └── BraceAlone


class UnknownPlaceholder(RuleBroken):
    """Names in braces that mean nothing; `known` are those that do."""

    field = "text"

    def __init__(self, names: tuple[str, ...]) -> None:
        super().__init__(names)
        self.names = names
        self.known = tuple(PLACEHOLDERS)


class BraceAlone(RuleBroken):
    """A brace that neither begins nor ends a blank. `position` counts letters from 1."""

    field = "text"

    def __init__(self, position: int) -> None:
        super().__init__(position)
        self.position = position


@dataclass(frozen=True, slots=True)
class Filled:
    """A phrase with its blanks filled; `missing` are the names left blank, each once, in order."""

    text: str
    missing: tuple[str, ...] = ()


def check(phrase_text: str) -> None:
    """Nothing, if every brace belongs to a known blank. Raises BraceAlone, UnknownPlaceholder."""
    for piece in PIECE.finditer(phrase_text):
        if piece["alone"]:
            raise BraceAlone(piece.start() + 1)
    unknown = tuple(name for name in names_in(phrase_text) if name not in PLACEHOLDERS)
    if unknown:
        raise UnknownPlaceholder(unknown)


def names_in(phrase_text: str) -> tuple[str, ...]:
    """The names of the blanks, each once, in the order of the phrase."""
    return tuple(dict.fromkeys(_names(phrase_text)))


def _names(phrase_text: str) -> Iterator[str]:
    for piece in PIECE.finditer(phrase_text):
        if piece["name"] is not None:
            yield piece["name"].strip()


def fill(phrase_text: str, values: Mapping[str, str | None]) -> Filled:
    """The phrase with each value in its blank, and `____` where none is known.

    A name that means nothing is left blank like a value not known. Values go in
    as they are: braces in them are no blanks. A brace alone stays as typed, so that a phrase kept
    from an earlier version still opens. Raises nothing.
    """
    known = {name: values.get(name) for name in names_in(phrase_text) if name in PLACEHOLDERS}
    missing = tuple(name for name in names_in(phrase_text) if not known.get(name))

    def written(piece: re.Match[str]) -> str:
        if piece["name"] is None:
            return piece[0][0]
        return known.get(piece["name"].strip()) or BLANK

    return Filled(PIECE.sub(written, phrase_text), missing)
