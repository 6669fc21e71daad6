"""How an approved letter leaves the practice, and where its sending stands. Pure."""

from clinic.common.vocabulary import Word


class Output(Word):
    """What a batch makes of its letters."""

    PRINT = "print", "one PDF to print"
    ZIP = "zip", "a ZIP with one PDF a letter"
    MAIL = "mail", "e-mail"
    NOTED = "noted", "noted by hand"


class Way(Word):
    """How one letter goes to its addressee."""

    POST = "post", "by post"
    FAX = "fax", "by fax"
    HAND = "hand", "by hand"
    EMAIL = "email", "by secure e-mail"
    FILE = "file", "as a file"
    NONE = "none", "not sent"


class State(Word):
    """Where one sending stands."""

    WAITING = "waiting", "not confirmed yet"
    UNSURE = "unsure", "may have been sent: check"
    SENT = "sent", "sent"
    FAILED = "failed", "not sent"
    PUT_BACK = "put_back", "put back on the list"
    KEPT = "kept", "not to be sent"


class Failure(Word):
    """Why an e-mail did not go out."""

    REFUSED_ADDRESS = "address", "the mail server refused the address"
    REFUSED = "refused", "the mail server refused the message"
    NO_PASSPHRASE = "passphrase", "no passphrase is agreed, or it can no longer be read"
    NOT_ARRIVED = "absent", "somebody checked: it did not arrive"


class Decision(Word):
    """Where to send a letter that shows another address than the record of today."""

    PRESENT = "present", "send to the present address"
    APPROVED = "approved", "send to the address in the letter"


# How a referrer's wish is met on paper: an e-mail that cannot go becomes a letter by post.
ON_PAPER = {"post": Way.POST, "fax": Way.FAX, "hand": Way.HAND, "email": Way.POST}


def way_of(output: Output, delivery: str) -> Way:
    """How a letter leaves when a batch of this kind takes it."""
    if output is Output.PRINT:
        return ON_PAPER[delivery]
    return {Output.ZIP: Way.FILE, Output.MAIL: Way.EMAIL}.get(output, Way.NONE)


# Ways in which an address on paper matters.
WITH_ADDRESS = frozenset({Way.POST, Way.HAND})
