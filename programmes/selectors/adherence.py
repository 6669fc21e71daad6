"""How well a programme is followed, as told at visits. Days of the last seven, 0 to 7."""

from dataclasses import dataclass
from datetime import date
from typing import Any

from clinic.clients.models import Episode
from programmes.models import DAYS_ASKED, AdherenceRecord

SHOWN = 12
# The small drawing, in its own units.
WIDTH, HEIGHT, GAP = 240, 60, 4


@dataclass(frozen=True)
class Bar:
    """One visit in the small trend, in drawing units."""

    record: AdherenceRecord
    x: float
    y: float
    width: float
    height: float

    @property
    def middle(self) -> float:
        return self.x + self.width / 2


@dataclass(frozen=True)
class AdherenceStory:
    """Every answer, oldest first."""

    records: tuple[AdherenceRecord, ...]
    days_asked: int = DAYS_ASKED

    @property
    def latest(self) -> AdherenceRecord | None:
        return self.records[-1] if self.records else None

    @property
    def recent(self) -> tuple[AdherenceRecord, ...]:
        return self.records[-SHOWN:]

    @property
    def bars(self) -> tuple[Bar, ...]:
        width = WIDTH / SHOWN
        return tuple(
            Bar(
                record=record,
                x=round(at * width + GAP / 2, 1),
                y=round(HEIGHT * (1 - record.days_done / DAYS_ASKED), 1),
                width=round(width - GAP, 1),
                height=round(HEIGHT * record.days_done / DAYS_ASKED, 1),
            )
            for at, record in enumerate(self.recent)
        )

    def between(self, first: date, last: date) -> "AdherenceStory":
        """The answers of a period, both days included."""
        kept = (one for one in self.records if first <= one.recorded_on <= last)
        return AdherenceStory(tuple(kept))

    @property
    def mean_days(self) -> float | None:
        """Mean days of seven; None without an answer."""
        if not self.records:
            return None
        return sum(record.days_done for record in self.records) / len(self.records)

    @property
    def hard_places(self) -> tuple[str, ...]:
        """The steps called hard at the latest visit."""
        steps: list[dict[str, Any]] = self.latest.hard_steps if self.latest else []
        return tuple(step["place"] for step in steps)


def adherence_of(episode: Episode) -> AdherenceStory:
    """What was told at visits of this episode. One query."""
    told = AdherenceRecord.objects.filter(episode=episode).select_related("recorded_by")
    return AdherenceStory(tuple(told))
