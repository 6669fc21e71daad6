"""What a person typed on a visit note, on its way to the record. Pure: vocabulary only.

The same values go as JSON into a text set aside, so that nothing typed is lost in a conflict.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from clinic.visits.red_flags import Sign
from clinic.visits.words import Section


@dataclass(frozen=True, slots=True)
class TreatmentTyped:
    """One service given, with whole minutes."""

    service_id: int
    minutes: int
    remark: str = ""


@dataclass(frozen=True, slots=True)
class NoteTyped:
    """All that can be typed on a note. A section that is absent is left as it is.

    `visit_min` are whole minutes, None where not yet known. `copied` is what the page believed to
    be copied and untouched; the record decides that by comparing texts.
    """

    visit_min: int | None = None
    sections: Mapping[Section, str] = field(default_factory=dict)
    copied: frozenset[Section] = frozenset()
    treatments: tuple[TreatmentTyped, ...] = ()
    signs: frozenset[Sign] = frozenset()

    def text(self, section: Section) -> str:
        return tidied(self.sections.get(section, ""))


def tidied(text: str) -> str:
    """Line ends of one kind, no space at either end, no NUL, which the database refuses."""
    return text.replace("\r\n", "\n").replace("\r", "\n").replace("\0", "").strip()


def as_json(typed: NoteTyped) -> dict[str, Any]:
    """Plain values, always in the same order."""
    return {
        "visit_min": typed.visit_min,
        "sections": {each.value: typed.text(each) for each in Section if each in typed.sections},
        "copied": values_of(typed.copied),
        "treatments": [[each.service_id, each.minutes, each.remark] for each in typed.treatments],
        "signs": values_of(typed.signs),
    }


def from_json(value: Mapping[str, Any]) -> NoteTyped:
    """The typed values again, as `as_json` wrote them."""
    return NoteTyped(
        visit_min=value["visit_min"],
        sections={Section(name): text for name, text in value["sections"].items()},
        copied=frozenset(map(Section, value["copied"])),
        treatments=tuple(TreatmentTyped(*row) for row in value["treatments"]),
        signs=frozenset(map(Sign, value["signs"])),
    )


def values_of(words: Iterable[Section] | Iterable[Sign]) -> list[str]:
    """The stored values in alphabetical order, so that equal sets are equal lists."""
    return sorted(word.value for word in words)
