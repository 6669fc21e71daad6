"""Writes about the second step of a sign-in: the app's code, or a recovery code."""

import secrets
from base64 import b32encode
from dataclasses import dataclass
from datetime import timedelta
from urllib.parse import quote, urlencode

from django.conf import settings
from django.db import transaction
from django.utils import timezone

from clinic.accounts.access import AccountVerb, RecoveryCode, SecondFactor, SignedIn, step_of
from clinic.accounts.models import User
from clinic.accounts.secrets_kept import hashed_code, is_code, opened, sealed
from clinic.accounts.services import ONE_TIME_ALPHABET, note
from clinic.common.errors import RuleBroken

# RFC 4226, section 4, R6: a shared secret of 160 bits is recommended.
SECRET_BYTES = 20
RECOVERY_CODES = 10
ISSUER = "Ebbline"


class CodeDoesNotFit(RuleBroken):
    """The code is not the one the app shows now."""

    field = "code"


@dataclass(frozen=True)
class CodeAnswer:
    """What became of a code: taken, or not, or not even looked at for so long."""

    is_right: bool
    wait: timedelta = timedelta(0)
    is_recovery: bool = False


def is_required_of(user: User) -> bool:
    """Whether this clinic asks a person of this role for a second step."""
    return settings.SECOND_FACTOR_REQUIRED and user.is_clinical


def new_secret() -> str:
    """A fresh secret, encrypted; kept nowhere until a code proves that the app has it."""
    return sealed(secrets.token_bytes(SECRET_BYTES))


def secret_words(secret_sealed: str) -> str:
    """The secret as an app takes it when it is typed: base 32, in groups of four."""
    text = b32encode(opened(secret_sealed) or b"").decode().rstrip("=")
    return " ".join(text[at : at + 4] for at in range(0, len(text), 4))


def app_address(user: User, secret_sealed: str) -> str:
    """What the QR code says: the otpauth address that authenticator apps read."""
    asked = {"secret": secret_words(secret_sealed).replace(" ", ""), "issuer": ISSUER}
    return f"otpauth://totp/{ISSUER}:{quote(user.sign_in_name)}?{urlencode(asked)}"


@transaction.atomic
def set_up(*, user: User, secret_sealed: str, code: str, session_key: str | None) -> list[str]:
    """Keep a new app once its code proves it, in place of any before; return recovery codes.

    All other sign-ins of the person end. Raises CodeDoesNotFit.
    """
    step = step_of(opened(secret_sealed), plain(code))
    if step is None:
        raise CodeDoesNotFit
    SecondFactor.objects.filter(user=user).delete()
    SecondFactor.objects.create(user=user, name="app", secret_sealed=secret_sealed, last_step=step)
    SignedIn.objects.filter(user=user).exclude(session_key=session_key).delete()
    note(user, AccountVerb.SECOND_FACTOR_SET, by=user)
    return _draw_codes(user)


@transaction.atomic
def renew_recovery_codes(*, user: User) -> list[str]:
    """Ten new codes; those before stop working. They are returned once and kept only as hashes."""
    note(user, AccountVerb.CODES_RENEWED, by=user)
    return _draw_codes(user)


def _draw_codes(user: User) -> list[str]:
    codes = ["-".join(_letters(5) for _ in range(2)) for _ in range(RECOVERY_CODES)]
    user.recovery_codes.all().delete()
    RecoveryCode.objects.bulk_create(
        RecoveryCode(user=user, hashed=hashed_code(plain(code))) for code in codes
    )
    return codes


def _letters(count: int) -> str:
    return "".join(secrets.choice(ONE_TIME_ALPHABET) for _ in range(count))


def plain(code: str) -> str:
    """A code without the spaces and hyphens that it may be typed or pasted with."""
    return "".join(letter for letter in code.casefold() if letter.isalnum())


@transaction.atomic
def use_code(*, user: User, code: str) -> CodeAnswer:
    """Take a code of the app or a recovery code; each works once, and wrong ones cost waiting.

    The row is locked, so two requests cannot use the same code.
    """
    factor = SecondFactor.objects.select_for_update().filter(user=user).first()
    if factor is None:
        return CodeAnswer(is_right=False)
    wait = factor.wait()
    if wait > timedelta(0):
        return CodeAnswer(is_right=False, wait=wait)
    if (step := factor.matching_step(plain(code))) is not None:
        factor.last_step = step
    elif not _use_recovery_code(user, plain(code)):
        factor.throttle_increment()
        return CodeAnswer(is_right=False)
    factor.throttle_reset()
    return CodeAnswer(is_right=True, is_recovery=step is None)


def _use_recovery_code(user: User, code: str) -> bool:
    if len(code) != 2 * 5:
        return False
    for kept in user.recovery_codes.filter(used_at=None):
        if is_code(code, kept.hashed):
            kept.used_at = timezone.now()
            kept.save(update_fields=["used_at"])
            note(user, AccountVerb.CODE_USED, by=user)
            return True
    return False


@transaction.atomic
def remove_second_factor(*, user: User, by: User | None) -> None:
    """Forget a person's app and recovery codes, and sign them out elsewhere.

    Their password may be a short one, which is not enough alone: they choose another.
    """
    SecondFactor.objects.filter(user=user).delete()
    user.recovery_codes.all().delete()
    user.must_choose_password = True
    user.save(update_fields=["must_choose_password"])
    if by != user:
        SignedIn.objects.filter(user=user).delete()
    is_own = by == user
    verb = AccountVerb.SECOND_FACTOR_OFF if is_own else AccountVerb.SECOND_FACTOR_RESET
    note(user, verb, by=by)
