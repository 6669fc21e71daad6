"""What was counted in one period, before small groups are hidden: never shown as it is. Pure."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from uuid import UUID

from clinic.common.vocabulary import Phase
from clinic.overview.report_dues import Kept
from clinic.overview.report_limb_rules import Detection, Reduced


@dataclass(frozen=True)
class PeriodFacts:
    """Numbers of one period. Days are whole days; ids only tell how many people there are."""

    referrals: Mapping[str, int]  # by source
    evaluation_days: Sequence[float]  # one a client
    registered_later: int
    phases: Mapping[Phase, int]  # on the last day
    appointments: Mapping[tuple[str, str], int]  # by outcome and purpose
    reductions: Sequence[tuple[UUID, Reduced]]  # (client, one limb in one phase)
    moved_to_intensive: int
    detections: Mapping[Detection, int]
    measured: Mapping[Kept, int]
    programmes_issued: int
    adherence_days: Sequence[float]  # of seven, one a client
    letters: tuple[int, int]  # on time, late
    letters_overdue: int  # on the last day
