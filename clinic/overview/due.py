"""What is due for an episode, computed from what was observed. Plain Python, no Django."""

from dataclasses import dataclass
from datetime import date

from dateutil.relativedelta import relativedelta

from clinic.common.vocabulary import Limb, Phase, Word
from clinic.scheduling.recalls import measured_again_after

# The referrer's own wish; the words are those of the referrer's form.
LETTER_AFTER = {"monthly": relativedelta(months=1), "quarterly": relativedelta(months=3)}


class DueKind(Word):
    WITHDRAW = "withdraw", "programme to take back"
    BASELINE = "baseline", "baseline girths"
    REMEASURE = "remeasure", "re-measurement"
    STAGE = "stage", "findings and stage"
    LETTER = "letter", "progress letter"
    GIRTH_DRAFT = "girth_draft", "unfinished girths"
    LETTER_DRAFT = "letter_draft", "letter waiting for approval"


@dataclass(frozen=True)
class DueItem:
    """Something to do, by a day; `what` says for which limb or region."""

    kind: DueKind
    due_on: date
    what: str = ""

    def is_overdue(self, today: date) -> bool:
        return self.due_on < today


@dataclass(frozen=True)
class EpisodeFacts:
    """What the due list of one episode rests on."""

    opened_on: date
    phase: Phase
    every_months: int | None  # between re-measurements; None: the usual for the phase
    last_taped_on: dict[Limb, date | None]  # every limb the episode treats or watches
    unstaged_regions: tuple[str, ...]
    letter_frequency: str | None  # None: no active referrer, or the client does not agree
    last_letter_to: date | None
    girth_draft_on: date | None
    letter_draft_on: date | None


def due_items(facts: EpisodeFacts) -> tuple[DueItem, ...]:
    """Everything due for an episode, earliest first; nothing for a discharged one."""
    if facts.phase is Phase.DISCHARGED:
        return ()
    items = [*_measuring(facts), *_stages(facts), *_letters(facts), *_drafts(facts)]
    return tuple(sorted(items, key=lambda item: (item.due_on, item.kind)))


def _measuring(facts: EpisodeFacts) -> list[DueItem]:
    interval = measured_again_after(facts.phase, facts.every_months)
    return [
        DueItem(DueKind.REMEASURE, last_on + interval, limb.label)
        if last_on and interval
        else DueItem(DueKind.BASELINE, facts.opened_on, limb.label)
        for limb, last_on in facts.last_taped_on.items()
    ]


def _stages(facts: EpisodeFacts) -> list[DueItem]:
    return [DueItem(DueKind.STAGE, facts.opened_on, region) for region in facts.unstaged_regions]


def _letters(facts: EpisodeFacts) -> list[DueItem]:
    interval = LETTER_AFTER.get(facts.letter_frequency or "")
    if interval is None or facts.letter_draft_on is not None:
        return []
    return [DueItem(DueKind.LETTER, (facts.last_letter_to or facts.opened_on) + interval)]


def _drafts(facts: EpisodeFacts) -> list[DueItem]:
    kept = [
        (DueKind.GIRTH_DRAFT, facts.girth_draft_on),
        (DueKind.LETTER_DRAFT, facts.letter_draft_on),
    ]
    return [DueItem(kind, kept_on) for kind, kept_on in kept if kept_on is not None]
