"""What a person can mend about letters. Each error carries data only."""

from datetime import date
from typing import Any

from clinic.common.errors import RuleBroken
from clinic.letters.kinds import LetterKind

# RuleBroken
# ├── NothingTaped
# ├── NoReferrer
# ├── ReferrerGone
# ├── ReferrerChanged
# ├── ClientDeclines
# ├── PeriodBackwards
# ├── PeriodInFuture
# ├── DraftExists
# ├── LetterChanged
# ├── LetterKept
# ├── LetterGone
# ├── NeedUnsaid
# ├── MayNotApprove
# └── LetterTooLong


class NothingTaped(RuleBroken):
    """No girths that count were taped up to the end of the period."""

    field = "period_to"

    def __init__(self, until_on: date) -> None:
        super().__init__(until_on)
        self.until_on = until_on


class NoReferrer(RuleBroken):
    """Neither the episode nor the client names a referrer to write to."""


class ReferrerGone(RuleBroken):
    """The referrer is no longer active: the post could reach a stranger."""

    def __init__(self, name: str) -> None:
        super().__init__(name)
        self.name = name


class ReferrerChanged(RuleBroken):
    """The record names another referrer by now than the one the draft is addressed to."""

    def __init__(self, *, now: str, in_draft: str) -> None:
        super().__init__(now, in_draft)
        self.now = now
        self.in_draft = in_draft


class ClientDeclines(RuleBroken):
    """The client does not agree to letters going out."""


class PeriodBackwards(RuleBroken):
    """The period ends before it begins."""

    field = "period_to"


class PeriodInFuture(RuleBroken):
    """The period ends on a day that is still to come."""

    field = "period_to"


class DraftExists(RuleBroken):
    """The episode has a draft of this kind already."""

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


class LetterGone(RuleBroken):
    """The draft was discarded in the meantime."""


class NeedUnsaid(RuleBroken):
    """A progress report that does not say why skilled care is still needed."""

    field = "skilled_need"


class MayNotApprove(RuleBroken):
    """A report for the payer by somebody whose notes wait for a co-signature."""


class LetterTooLong(RuleBroken):
    """It runs over its pages. `longest` names its longest texts, longest first."""

    def __init__(self, pages: int, kind: LetterKind, longest: tuple[str, ...] = ()) -> None:
        super().__init__(pages, kind)
        self.pages = pages
        self.kind = kind
        self.longest = longest
