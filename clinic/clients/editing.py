"""What a record said when a form was opened, so that a later save can notice another person's."""

import json
from collections.abc import Mapping, Sequence

from django.db.models import Model

Said = dict[str, str]


def said_by(record: Model, names: Sequence[str]) -> Said:
    """The named fields of a record as plain text, for comparison only."""
    fields = (record._meta.get_field(name) for name in names)
    return {field.name: field.value_to_string(record) for field in fields}  # type: ignore[union-attr]


def written(said: Said) -> str:
    """As it travels in a hidden field."""
    return json.dumps(said, sort_keys=True)


def read(text: str) -> Said:
    """What a hidden field carried; unreadable text counts as nothing, so a save is questioned."""
    try:
        said = json.loads(text)
    except ValueError:
        return {}
    return {str(name): str(value) for name, value in said.items()} if isinstance(said, dict) else {}


def differs(before: Mapping[str, str], now: Mapping[str, str]) -> bool:
    return any(before.get(name) != value for name, value in now.items())
