"""What a person can mend about a month's run. Each error carries data only."""

from datetime import date

from clinic.common.errors import RuleBroken

# RuleBroken
# ├── MonthNotOver
# ├── RowElsewhere
# ├── ClientInactive
# └── NoReason


class MonthNotOver(RuleBroken):
    """The month has days still to come."""

    field = "month"

    def __init__(self, month: date) -> None:
        super().__init__(month)
        self.month = month


class RowElsewhere(RuleBroken):
    """Somebody else decided on this letter, or it is still being compiled."""


class ClientInactive(RuleBroken):
    """The client was deactivated since the letter was compiled."""


class NoReason(RuleBroken):
    """A letter is skipped for a reason."""

    field = "note"
