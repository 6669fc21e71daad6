"""The order in which letters are printed and put into envelopes. Pure."""

from collections.abc import Iterable
from dataclasses import dataclass
from uuid import UUID

from clinic.letters.sending.ways import Way

# Paper for envelopes first, then what goes to the fax machine.
GROUPS = (Way.POST, Way.HAND, Way.FAX, Way.EMAIL, Way.FILE, Way.NONE)


@dataclass(frozen=True)
class Piece:
    """One letter on its way: names are folded (lower case, no accents) so that they sort."""

    letter_id: UUID
    referrer_id: UUID
    way: Way
    addressee: str
    addressee_folded: str
    client_folded: str
    approved_at: str

    @property
    def envelope(self) -> tuple[int, str, str, str]:
        """What all letters in one envelope have alike."""
        return GROUPS.index(self.way), self.addressee_folded, str(self.referrer_id), self.addressee


def posting_order(pieces: Iterable[Piece]) -> list[Piece]:
    """By way, then addressee, so that one envelope holds all for the same reader; then client."""
    return sorted(
        pieces,
        key=lambda piece: (
            *piece.envelope,
            piece.client_folded,
            piece.approved_at,
            str(piece.letter_id),
        ),
    )


def padding(pages: int, *, two_sided: bool) -> int:
    """Blank pages after so many, so that what follows starts on a sheet of its own."""
    return pages % 2 if two_sided else 0
