"""What is said about sending, in words."""

from collections.abc import Callable
from typing import Any

from clinic.common.errors import RuleBroken
from clinic.common.print import NotPrinted
from clinic.letters.sending import errors
from clinic.letters.sentences import sentence as of_letters

LACKS = {
    "address": "has no full postal address",
    "fax": "has no fax number",
    "mail": "has not agreed to e-mail with a passphrase, has no e-mail address, or asked for"
    " another way",
}
NOT_NOW = "No PDF could be made. The letters stay in this batch; try again."


def _cannot_go(error: errors.CannotGo) -> str:
    named = ", ".join(error.names[:5]) + (" and others" if len(error.names) > 5 else "")
    return (
        f"Nothing was taken. {named}: {LACKS[error.why]}. Complete the referrer, untick these"
        " letters, or send them another way."
    )


def _reason_missing(error: errors.ReasonMissing) -> str:
    if error.field and error.field.startswith("reason_"):
        return "The client does not agree to letters: untick it, or say why it goes all the same."
    return "Say why, in a few words."


SENTENCES: dict[type[RuleBroken], Callable[[Any], str]] = {
    errors.NothingToSend: lambda error: (
        "Nothing to send: tick letters that still wait. What was sent meanwhile is left alone."
    ),
    errors.DecisionMissing: lambda error: "Choose which address this letter goes to.",
    errors.ReasonMissing: _reason_missing,
    errors.CannotGo: _cannot_go,
    errors.AlreadyOnItsWay: lambda error: (
        "Somebody took one of these letters at the same moment, or it waits to be confirmed."
        " Nothing was taken; look at the list again."
    ),
    errors.NotConfirmed: lambda error: "Nothing changed: tick letters that this can be done with.",
    errors.TooLate: lambda error: (
        "A letter goes back on the list only on the day it was confirmed, and an e-mail never."
        " Nothing changed. Send it again from the sent log if it has to go twice."
    ),
    errors.MailCannotGo: lambda error: "E-mail is not set up on this server. Print the letters.",
    errors.MailSilent: lambda error: (
        "The mail server did not answer or did not let us in. Nothing was sent; try again later."
    ),
    errors.MailBroken: lambda error: (
        "The line to the mail server broke. One letter may have been sent: check it below."
    ),
    errors.MailStale: lambda error: "This was asked for hours ago. Nothing was sent; ask anew.",
    errors.AgreementStands: lambda error: (
        "Somebody else kept a passphrase at this moment. Look again, then set it once more."
    ),
    NotPrinted: lambda error: NOT_NOW,
}


def sentence(error: RuleBroken) -> str:
    say = SENTENCES.get(type(error))
    return say(error) if say else of_letters(error)
