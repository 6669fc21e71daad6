"""What a person can mend about letters. Each error carries data only."""

from datetime import date
from typing import Any

from clinic.common.errors import RuleBroken
from clinic.common.vocabulary import Word

# RuleBroken
# ├── NothingTaped
# ├── NoReferrer
# ├── ClientDeclines
# ├── PeriodBackwards
# ├── PeriodInFuture
# ├── DraftExists
# ├── LetterChanged
# ├── LetterKept
# └── LetterNotPrinted
#     └── LetterTooLong


class NothingTaped(RuleBroken):
    """No girths that count were taped up to the end of the period."""

    field = "period_to"

    def __init__(self, until_on: date) -> None:
        super().__init__(until_on)
        self.until_on = until_on


class NoReferrer(RuleBroken):
    """Neither the episode nor the client names a referrer to write to."""


class ClientDeclines(RuleBroken):
    """The client does not agree to letters going out."""


class PeriodBackwards(RuleBroken):
    """The period ends before it begins."""

    field = "period_to"


class PeriodInFuture(RuleBroken):
    """The period ends on a day that is still to come."""

    field = "period_to"


class DraftExists(RuleBroken):
    """The episode has a draft already."""

    def __init__(self, draft: Any) -> None:
        super().__init__(str(draft.pk))
        self.draft = draft


class LetterChanged(RuleBroken):
    """The draft, or the record under it, is no longer what the person looked at."""

    def __init__(self, letter: Any) -> None:
        super().__init__(str(letter.pk))
        self.letter = letter


class LetterKept(RuleBroken):
    """An approved letter is never changed or removed."""


class Fault(Word):
    LIBRARY_MISSING = "library_missing", "a system library is missing"
    FAILED = "failed", "the PDF library failed"
    TOO_LONG = "too_long", "longer than one page"


class LetterNotPrinted(RuleBroken):
    """No PDF came out; the draft is kept. `detail` is for the log and holds no clinical word."""

    def __init__(self, fault: Fault, detail: str = "") -> None:
        super().__init__(fault, detail)
        self.fault = fault
        self.detail = detail


class LetterTooLong(LetterNotPrinted):
    """The letter runs over one page. `longest` names its longest texts, longest first."""

    def __init__(self, pages: int, longest: tuple[str, ...] = ()) -> None:
        super().__init__(Fault.TOO_LONG, f"{pages} pages")
        self.pages = pages
        self.longest = longest
