"""All rows of one client's record that leave the practice, read before anything is made of them."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import datetime, tzinfo

from clinic.accounts.models import Practice, User
from clinic.clients.models import (
    Client,
    DrugTreatment,
    Episode,
    Irradiation,
    NodeSurgery,
    PrecautionFound,
    Referrer,
    Surgery,
)
from clinic.letters.models import ProgressLetter
from clinic.visits.models import VisitNote
from clinic.visits.plans import PlanOfCare
from measurements.models import LimbFindings, OutcomeScore
from measurements.selectors.taped import Taped
from programmes.models import AdherenceRecord, Garment, Programme


@dataclass(frozen=True)
class ClientRows:
    """One client with everything recorded, oldest first, joined so that no query follows.

    `tapings` hold struck sessions too. Notes and plans are signed, programmes issued, letters
    approved: drafts stay in the practice.
    """

    practice: Practice
    zone: tzinfo
    made_at: datetime
    client: Client
    old_record_numbers: tuple[str, ...] = ()
    episodes: tuple[Episode, ...] = ()
    surgeries: tuple[Surgery, ...] = ()
    node_surgeries: tuple[NodeSurgery, ...] = ()
    irradiations: tuple[Irradiation, ...] = ()
    drug_treatments: tuple[DrugTreatment, ...] = ()
    precautions: tuple[PrecautionFound, ...] = ()
    findings: tuple[LimbFindings, ...] = ()
    tapings: tuple[Taped, ...] = ()
    scores: tuple[OutcomeScore, ...] = ()
    notes: tuple[VisitNote, ...] = ()
    plans: tuple[PlanOfCare, ...] = ()
    programmes: tuple[Programme, ...] = ()
    adherence: tuple[AdherenceRecord, ...] = ()
    garments: tuple[Garment, ...] = ()
    letters: tuple[ProgressLetter, ...] = ()
    staff: dict[int, User] = field(default_factory=dict)

    @property
    def referrers(self) -> tuple[Referrer, ...]:
        """Everybody who referred the client or was written to, each once."""
        found = {each.pk: each for each in self._referrers()}
        return tuple(found.values())

    def _referrers(self) -> Iterator[Referrer]:
        said = (
            self.client.referrer,
            *(episode.referrer for episode in self.episodes),
            *(letter.referrer for letter in self.letters),
        )
        yield from (referrer for referrer in said if referrer)
