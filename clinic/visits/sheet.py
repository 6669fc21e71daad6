"""A signed note for reading and print, as frozen values: what was signed, from the snapshot."""

from dataclasses import dataclass
from datetime import date, datetime
from uuid import UUID

from clinic.visits.desk import AddendumShown
from clinic.visits.words import NoteState


@dataclass(frozen=True)
class SheetSection:
    """One written part. `is_copied`: it was copied from an earlier note and signed untouched."""

    label: str
    text: str
    is_copied: bool


@dataclass(frozen=True)
class SheetBlock:
    """What the record said at the visit, under its heading, in sentences."""

    title: str
    lines: tuple[str, ...]


@dataclass(frozen=True)
class SheetTreatment:
    code: str
    name: str
    is_timed: bool
    minutes: int
    units: int
    remark: str


@dataclass(frozen=True)
class SheetTiming:
    """Minutes and units of the visit by the rule of that day."""

    rule: str
    timed_min: int
    treatment_min: int
    timed_units: int
    total_units: int
    explanation: tuple[str, ...]
    warnings: tuple[str, ...]


@dataclass(frozen=True)
class SheetRedFlag:
    label: str
    because: str
    action: str
    seen_by: str
    seen_at: datetime


@dataclass(frozen=True)
class NoteSheet:
    """The signed content, then what came after it: co-signature and addenda.

    `is_intact` tells whether the content still is what was sealed.
    """

    id: UUID
    episode_id: UUID
    client_id: UUID
    practice: str
    client_name: str
    record_number: str
    born_on: date
    diagnosis: str
    phase: str
    kind: str
    visited_on: date
    visit_min: int | None
    therapist: str
    sections: tuple[SheetSection, ...]
    blocks: tuple[SheetBlock, ...]
    treatments: tuple[SheetTreatment, ...]
    timing: SheetTiming
    red_flags: tuple[SheetRedFlag, ...]
    signature: str
    signed_at: datetime
    is_late_entry: bool
    state: NoteState
    cosignature: str
    cosigned_at: datetime | None
    addenda: tuple[AddendumShown, ...]
    seal: str
    is_intact: bool
