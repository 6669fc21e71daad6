"""Database triggers that several apps need."""

import pgtrigger


def no_truncate(name: str) -> pgtrigger.Trigger:
    """Refuse TRUNCATE, which row triggers never see."""
    return pgtrigger.Trigger(
        name=name,
        level=pgtrigger.Statement,
        when=pgtrigger.Before,
        operation=pgtrigger.Truncate,
        func="RAISE EXCEPTION 'these rows are kept: TRUNCATE is refused';",
    )
