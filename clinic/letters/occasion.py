"""What is known before anything is read from the record."""

from dataclasses import dataclass
from datetime import date

from clinic.accounts.models import User
from clinic.clients.models import Referrer
from clinic.letters.kinds import LetterKind


@dataclass(frozen=True)
class Occasion:
    """For whom, from when to when, on what day, over whose name and what kind is written."""

    referrer: Referrer | None
    period_from: date
    period_to: date
    written_on: date
    signed_by: User
    kind: LetterKind = LetterKind.LETTER
