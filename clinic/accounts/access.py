"""What a person signs in with, where they are signed in, and what was done to their account."""

import time
from datetime import timedelta

import pgtrigger
from django.conf import settings
from django.contrib.sessions.base_session import AbstractBaseSession
from django.db import models
from django.utils import timezone
from django_otp.models import Device, ThrottlingMixin
from django_otp.oath import TOTP

from clinic.accounts.secrets_kept import opened
from clinic.common.choices import choices_of
from clinic.common.triggers import no_truncate
from clinic.common.vocabulary import Word

USER = settings.AUTH_USER_MODEL
# RFC 6238: steps of 30 s; section 5.2 allows one step of delay, one step ahead is for slow clocks.
STEP_S = 30
STEPS_OFF = 1
# NIST SP 800-63B rev. 4, 3.2.2: no more than 100 wrong attempts in a row.
MOST_WRONG_CODES = 100


class SignedIn(AbstractBaseSession):
    """A browser's session; once somebody signed in there, theirs."""

    user = models.ForeignKey(USER, models.CASCADE, null=True, related_name="sign_ins")
    started_at = models.DateTimeField(default=timezone.now)
    seen_at = models.DateTimeField(default=timezone.now)
    address = models.GenericIPAddressField(null=True)
    device = models.CharField(max_length=60, blank=True)

    class Meta(AbstractBaseSession.Meta):
        indexes = [models.Index(fields=["user", "-seen_at"], name="sign_ins_of_person")]


class SecondFactor(ThrottlingMixin, Device):  # type: ignore[misc]  # untyped library
    """A person's authenticator app. Its secret is kept encrypted."""

    secret_sealed = models.TextField()
    # The step of the last code taken: it and those before are refused.
    last_step = models.BigIntegerField(default=-1)
    set_up_at = models.DateTimeField(default=timezone.now)

    class Meta(Device.Meta):
        abstract = False
        constraints = [models.UniqueConstraint(fields=["user"], name="second_factor_once")]

    def get_throttle_factor(self) -> int:
        return 1

    def matching_step(self, code: str) -> int | None:
        """The time step whose code this is, if it is later than the last one taken."""
        return step_of(opened(self.secret_sealed), code, after=self.last_step)

    def wait(self) -> timedelta:
        """How long no code is looked at, after wrong ones: 1 s, 2 s, 4 s ..."""
        if self.throttling_failure_count >= MOST_WRONG_CODES:
            return timedelta.max
        allowed, why = self.verify_is_allowed()
        return timedelta(0) if allowed else why["locked_until"] - timezone.now()


def step_of(secret: bytes | None, code: str, *, after: int = -1) -> int | None:
    """The time step, about now and later than `after`, that gives this code (RFC 6238)."""
    if secret is None or not (code.isascii() and code.isdigit() and len(code) == 6):
        return None
    clock = TOTP(secret, STEP_S)
    clock.time = time.time()
    return clock.t() if clock.verify(int(code), STEPS_OFF, after + 1) else None


class RecoveryCode(models.Model):
    """One of ten ways in without the app, each good once. Only its hash is kept."""

    user = models.ForeignKey(USER, models.CASCADE, related_name="recovery_codes")
    hashed = models.CharField(max_length=128)
    used_at = models.DateTimeField(null=True)


class AccountVerb(Word):
    PASSWORD_CHOSEN = "password_chosen", "chose a new password"
    PASSWORD_RENEWED = "password_renewed", "made a one-time password"
    SECOND_FACTOR_SET = "second_factor_set", "set up the second step"
    SECOND_FACTOR_OFF = "second_factor_off", "turned the second step off"
    SECOND_FACTOR_RESET = "second_factor_reset", "reset the second step"
    CODES_RENEWED = "codes_renewed", "made new recovery codes"
    CODE_USED = "code_used", "signed in with a recovery code"
    SIGN_IN_ENDED = "sign_in_ended", "ended a sign-in"
    SIGN_INS_ENDED = "sign_ins_ended", "ended all other sign-ins"
    UNLOCKED = "unlocked", "lifted a lock"


class AccountEvent(models.Model):
    """What was done to an account's ways in, when and by whom. Never changed, never deleted."""

    at = models.DateTimeField(auto_now_add=True)
    about = models.ForeignKey(USER, models.PROTECT, related_name="account_events")
    # None: from the server's own command line.
    by = models.ForeignKey(USER, models.PROTECT, null=True, related_name="+")
    verb = models.CharField(max_length=24, choices=choices_of(AccountVerb))

    class Meta:
        ordering = ["-at", "-pk"]
        indexes = [models.Index(fields=["about", "-at"], name="account_events_of")]
        triggers = [
            pgtrigger.Protect(name="append_only", operation=pgtrigger.Update | pgtrigger.Delete),
            no_truncate("no_truncate"),
        ]
