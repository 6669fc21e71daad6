"""What a person can mend about sending. Each error carries data only."""

from clinic.common.errors import RuleBroken

# RuleBroken
# ├── NothingToSend
# ├── DecisionMissing
# ├── ReasonMissing
# ├── CannotGo
# ├── AlreadyOnItsWay
# ├── NotConfirmed
# ├── TooLate
# ├── MailCannotGo
# ├── MailSilent
# ├── MailBroken
# ├── MailStale
# └── AgreementStands


class NothingToSend(RuleBroken):
    """None of the chosen letters waits any longer, or none was chosen."""

    field = "letters"


class DecisionMissing(RuleBroken):
    """The record differs from the letter, and nobody said what to do. Names its field."""

    def __init__(self, field: str) -> None:
        super().__init__(field)
        self.field = field


class ReasonMissing(RuleBroken):
    """Something that needs a reason came without one. Names its field."""

    def __init__(self, field: str) -> None:
        super().__init__(field)
        self.field = field


class CannotGo(RuleBroken):
    """Chosen letters that cannot go this way; names of addressees."""

    field = "letters"

    def __init__(self, names: tuple[str, ...], why: str) -> None:
        super().__init__(len(names), why)
        self.names = names
        self.why = why


class AlreadyOnItsWay(RuleBroken):
    """Somebody else took one of the letters at the same moment, or it waits to be confirmed."""


class NotConfirmed(RuleBroken):
    """Nothing was ticked that can be confirmed or put back."""


class TooLate(RuleBroken):
    """A sending is put back on the day it was confirmed only, and an e-mail never."""


class MailCannotGo(RuleBroken):
    """No mail server is set up."""


class MailSilent(RuleBroken):
    """The mail server could not be reached or refused us; nothing was handed over."""


class MailBroken(RuleBroken):
    """The line to the mail server broke over one letter, which may have been sent."""


class MailStale(RuleBroken):
    """E-mails were asked for hours ago: a person asks anew."""


class AgreementStands(RuleBroken):
    """The referrer's agreement to e-mail stands already."""
