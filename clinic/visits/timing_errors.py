"""What a person can mend about treatment minutes. Pure: errors only; each carries data only."""

from clinic.common.errors import RuleBroken

# RuleBroken
# ├── MinutesTooFew
# ├── MinutesTooMany
# └── TimedAndUntimed


class MinutesTooFew(RuleBroken):
    """Fewer minutes than can be: below 0, or none where something was done. `code` may be ""."""

    field = "minutes"

    def __init__(self, minutes: int, least: int, code: str = "") -> None:
        super().__init__(minutes, least, code)
        self.minutes = minutes
        self.least = least
        self.code = code


class MinutesTooMany(RuleBroken):
    """More minutes than a day has, for one service or for all of a day together (code "")."""

    field = "minutes"

    def __init__(self, minutes: int, most: int, code: str = "") -> None:
        super().__init__(minutes, most, code)
        self.minutes = minutes
        self.most = most
        self.code = code


class TimedAndUntimed(RuleBroken):
    """One code entered both as counted by its minutes and as not."""

    field = "service"

    def __init__(self, code: str) -> None:
        super().__init__(code)
        self.code = code
