"""Names of files that leave the practice: a day and a short reference, never a name. Pure."""

from datetime import date
from uuid import UUID


def reference(letter_id: UUID) -> str:
    """Twelve hexadecimal digits of the letter's id: enough to find it, says nothing of anybody."""
    return letter_id.hex[:12]


def file_name(letter_id: UUID, approved_on: date) -> str:
    return f"letter-{approved_on:%Y-%m-%d}-{reference(letter_id)}.pdf"
