"""The arithmetic of the chain over the access and change record.

Pure: the standard library only. The database writes the chain (functions `audit_chain` and
`audit_entry_text` of the migration); this says the same again, so that a check does not ask the
one who is checked. SHA-256 is that of FIPS 180-4.
"""

import hashlib
from collections.abc import Sequence
from datetime import UTC, datetime

FIRST_HASH = "0" * 64

Field = str | int | datetime | bool | None


def field_text(value: Field) -> str:
    """A field with its length in bytes in front, or "-" where there is no value.

    With the lengths nothing can be moved from one field into the next unseen.
    """
    if value is None:
        return "-"
    text = _plain(value)
    return f"{len(text.encode())}:{text}"


def row_text(kind: str, fields: Sequence[Field]) -> str:
    """`kind` is "entry" or "change"; the fields in the order of the table."""
    return kind + "".join(field_text(value) for value in fields)


def link_hash(*, position: int, previous_hash: str, told: str) -> str:
    """The 64 hex digits of a link: of its place, the hash before it and the text of its row."""
    text = field_text(position) + field_text(previous_hash) + told
    return hashlib.sha256(text.encode()).hexdigest()


def values_digest(salt: str, values: str) -> str:
    """The hash under which a change keeps its values: salted, so that none can be guessed."""
    return hashlib.sha256(f"{salt}{values}".encode()).hexdigest()


def _plain(value: Field) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, datetime):
        return value.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.%f")
    return str(value)
