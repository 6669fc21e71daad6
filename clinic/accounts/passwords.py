"""What a password must be, by NIST SP 800-63B revision 4, section 3.1.1.2.

Length counts, nothing else: no rules of composition, no change by the calendar, a blocklist of
common and of expected passwords, compared as a whole. Read in the public draft of revision 4
(usnistgov/800-63-4); that 15 characters are required where the password is the only factor, and 8
where there is a second, is the final text's, from memory, not re-read.
"""

import re
import unicodedata
from typing import Any

from django.contrib.auth.password_validation import CommonPasswordValidator
from django.core.exceptions import ValidationError

from clinic.accounts.selectors import practice_card, second_factor_of

ALONE_LENGTH = 15
WITH_SECOND_LENGTH = 8
LONGEST = 256
# Fewer letters than this beside the expected words make it one of their derivatives.
OWN_LETTERS = 4


def normalised(password: str) -> str:
    """The same password, however the keyboard composes its letters (Unicode NFC)."""
    return unicodedata.normalize("NFC", password)


class LongEnough:
    """At least 15 characters, or 8 where the account has a second factor."""

    def validate(self, password: str, user: Any = None) -> None:
        least = WITH_SECOND_LENGTH if _has_second(user) else ALONE_LENGTH
        if len(password) < least:
            raise ValidationError(
                f"It has {len(password)} characters; at least {least} are needed."
                " Four or five words in a row are easy to keep.",
                code="password_too_short",
            )

    def get_help_text(self) -> str:
        return (
            f"At least {ALONE_LENGTH} characters ({WITH_SECOND_LENGTH} once a code from your phone"
            " is asked as well). Four or five words in a row are easy to keep; spaces and any"
            " letters are welcome. It need not be changed by the calendar."
        )


class NotCommon(CommonPasswordValidator):
    """Not one of the 20,000 passwords most often seen in published breaches."""

    def get_help_text(self) -> str:
        return ""


class NotExpected:
    """Not the practice's name, the person's or the product's, with little else."""

    def validate(self, password: str, user: Any = None) -> None:
        rest = "".join(re.findall(r"[^\W\d_]", password.casefold()))
        for word in sorted(expected_words(user), key=len, reverse=True):
            rest = rest.replace(word, "")
        if len(rest) < OWN_LETTERS:
            raise ValidationError(
                "It is made of names that anybody here would guess first. Use words that have"
                " nothing to do with you or the practice.",
                code="password_expected",
            )

    def get_help_text(self) -> str:
        return ""


def expected_words(user: Any) -> set[str]:
    """Words somebody would try first: the product, the practice, the person."""
    told = ["Ebbline", "password", practice_card().name]
    told += [user.sign_in_name, user.display_name] if user else []
    words = {word for text in told for word in re.findall(r"[^\W\d_]+", text.casefold())}
    return {word for word in words if len(word) > 2}


def _has_second(user: Any) -> bool:
    return bool(user and user.pk and second_factor_of(user))
