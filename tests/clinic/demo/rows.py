"""Every row of ours, to compare one state of the database with another."""

import hashlib
from typing import Any

from django.apps import apps
from django.db import models

OURS = {
    "accounts",
    "audit",
    "clients",
    "letters",
    "measurements",
    "programmes",
    "scheduling",
    "visits",
}
# Drawn anew each time, or made of what is: keys within texts, prints, seals.
RANDOM = {"subject", "password", "typed", "pdf", "pdf_sha256", "summary", "signed", "act"}


# Written by the database's own clock and salted.
OF_ITSELF = {"audit.Change", "audit.Link"}


def silent(words: str) -> None:
    """Takes the words of progress."""


def tables(*, without_keys: bool = False) -> dict[str, list[Any]]:
    """Every row of every table of ours; without random and running numbers when asked."""
    found = {}
    for model in apps.get_models():
        if without_keys and model._meta.label in OF_ITSELF:
            continue
        if model._meta.app_label in OURS:
            names = [each.attname for each in model._meta.concrete_fields]
            if without_keys:
                names = [name for name in names if not _is_random(model, name)]
            rows = model._default_manager.order_by().values_list(*names)
            found[model._meta.label] = sorted(map(repr, rows))
    return found


def _is_random(model: type[models.Model], name: str) -> bool:
    field = model._meta.get_field(name)
    is_key = field.primary_key or field.is_relation
    return is_key or name in RANDOM or name.endswith("seal")


def digest(found: dict[str, list[Any]]) -> str:
    return hashlib.sha256(repr(sorted(found.items())).encode()).hexdigest()
