"""Database triggers that several apps need."""

import pgtrigger
from django.db import models


class Once(pgtrigger.Condition):
    """A change that is refused as soon as a column has been filled."""

    def __init__(self, filled: str, change: pgtrigger.Condition) -> None:
        super().__init__(f"OLD.{filled} IS NOT NULL")
        self.change = change

    def resolve(self, model: type[models.Model]) -> str:
        return f"{super().resolve(model)} AND ({self.change.resolve(model)})"


def no_truncate(name: str) -> pgtrigger.Trigger:
    """Refuse TRUNCATE, which row triggers never see."""
    return pgtrigger.Trigger(
        name=name,
        level=pgtrigger.Statement,
        when=pgtrigger.Before,
        operation=pgtrigger.Truncate,
        func="RAISE EXCEPTION 'these rows are kept: TRUNCATE is refused';",
    )
