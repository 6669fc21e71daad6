"""A kept change as words: what the field is called, what it said before and after."""

import re
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from functools import cache
from typing import Any

from django.apps import apps
from django.db import models
from django.utils import timezone
from django.utils.formats import date_format

from clinic.audit.models import Change

NOTHING = "nothing"
HASHED = "sha256:"
LONGEST = 300
DAY = re.compile(r"\b\d{4}-\d\d-\d\d\b")
MOMENT = re.compile(r"\d{4}-\d\d-\d\d[ T]\d\d:\d\d:\d\d(?:\.\d+)?[+-]\d\d(?::\d\d)?")

Names = Mapping[tuple[str, str], str]  # (table of the target, key) -> words


@dataclass(frozen=True)
class FieldChange:
    """One field, in words."""

    name: str
    before: str
    after: str


@dataclass(frozen=True)
class ChangeWords:
    """One row's change: what it is, and field by field what it said."""

    change: Change
    what: str
    fields: tuple[FieldChange, ...]

    @property
    def is_erased(self) -> bool:
        return self.change.values is None


def in_words(changes: Iterable[Change]) -> list[ChangeWords]:
    """Each change as words. One query for each kind of thing changed, or that a field points to."""
    told = list(changes)
    names = _names(told)
    return [ChangeWords(one, _what(one, names), tuple(_fields(one, names))) for one in told]


def _what(change: Change, names: Names) -> str:
    """The kind of row and, while it is there, which: of two sessions, the one of that day."""
    model = _model(change.table)
    name = str(model._meta.verbose_name) if model else change.table
    if change.is_deletion:
        return f"{name} removed"
    which = names.get((change.table, change.row), "")
    days = DAY.sub(lambda found: date_format(date.fromisoformat(found[0])), which)
    return f"{name} ({days})" if days and name != "client" else name


def _fields(change: Change, names: Names) -> Iterable[FieldChange]:
    for column, (before, after) in sorted((change.values or {}).items()):
        if change.is_deletion and (before in {None, ""} or column == "id"):
            continue
        field = _field(change.table, column)
        told = str(field.verbose_name) if field is not None else column
        yield FieldChange(told, _words(field, before, names), _words(field, after, names))


def _names(changes: Iterable[Change]) -> Names:
    """What the rows are called that were changed, or to which changed fields point."""
    wanted: defaultdict[type[models.Model], set[str]] = defaultdict(set)
    for change in changes:
        if (changed := _model(change.table)) is not None:
            wanted[changed].add(change.row)
        for column, pair in (change.values or {}).items():
            field = _field(change.table, column)
            if isinstance(field, models.ForeignKey):
                wanted[field.related_model].update(key for key in pair if key)
    return {
        (model._meta.db_table, str(row.pk)): str(row)
        for model, keys in wanted.items()
        for row in _rows(model, keys)
    }


def _rows(model: type[models.Model], keys: Iterable[str]) -> Iterable[models.Model]:
    """With what their names are made of, without printed papers. One query."""
    joined = [one.name for one in model._meta.fields if one.is_relation and not one.null]
    joined = [name for name in joined if not _papers(model._meta.get_field(name).related_model)]
    rows = model._default_manager.filter(pk__in=keys).defer(*_papers(model))
    return rows.select_related(*joined) if joined else rows


def _papers(model: Any) -> list[str]:
    return [one.name for one in model._meta.fields if isinstance(one, models.BinaryField)]


def _words(field: Any, text: str | None, names: Names) -> str:
    if text is None or text == "":
        return NOTHING
    if text.startswith(HASHED):
        return "another content, kept as a fingerprint"
    if isinstance(field, models.ForeignKey):
        target = field.related_model._meta.db_table
        return names.get((target, text), "one that is no longer there")
    if field is not None and field.choices:
        label = str(dict(field.flatchoices).get(text, text))
        return label if label[1:2].isupper() else label[:1].lower() + label[1:]
    if isinstance(field, models.BooleanField):
        return "yes" if text == "true" else "no"
    return _dated(field, text)[:LONGEST]


def _dated(field: Any, text: str) -> str:
    """Days and moments as they are written everywhere, also inside a span of time."""
    if isinstance(field, models.DateField) and not isinstance(field, models.DateTimeField):
        return date_format(date.fromisoformat(text))
    return MOMENT.sub(lambda found: _moment(found[0]), text).strip('[]()"').replace('","', " to ")


def _moment(text: str) -> str:
    local = timezone.localtime(datetime.fromisoformat(text))
    return f"{date_format(local)} {local:%H:%M}"


@cache
def _model(table: str) -> type[models.Model] | None:
    return next((one for one in apps.get_models() if one._meta.db_table == table), None)


@cache
def _field(table: str, column: str) -> Any:
    model = _model(table)
    fields = model._meta.concrete_fields if model else ()
    return next((field for field in fields if field.column == column), None)
