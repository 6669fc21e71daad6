"""Writes about staff and the practice."""

import secrets
from datetime import timedelta

from axes.utils import reset
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.utils import timezone

from clinic.accounts.access import AccountEvent, AccountVerb, SecondFactor, SignedIn
from clinic.accounts.models import Practice, SavedView, User
from clinic.accounts.selectors import mark_of
from clinic.audit import services as audit
from clinic.common.vocabulary import Role

# No letters or digits that are mistaken for one another on paper.
ONE_TIME_ALPHABET = "abcdefghjkmnpqrstuvwxyz23456789"
# "Expire after a short period of time": OWASP ASVS 5.0, 6.4.1 (4.0.3: 2.3.1). How short, neither it
# nor NIST SP 800-63B rev. 4 says; the latter's 4.2.1.2 gives a recovery code 24 hours by e-mail, 21
# days by post. Ours is a choice: paper handed over on a Friday opens the account on the Monday.
ONE_TIME_HOURS = 72

# What the clinic lead edits of an account.
EDITED = ("sign_in_name", "display_name", "credentials", "role", "needs_cosignature", "is_active")

NOT_ONESELF = "Another clinic lead has to do that: nobody gives up the lead by themselves."
NOT_ANOTHER = "That is the password you have now. Choose another."


def one_time_password() -> str:
    """Four groups of four, about 79 bits: typed once from a printout, then replaced."""
    groups = ("".join(secrets.choice(ONE_TIME_ALPHABET) for _ in range(4)) for _ in range(4))
    return "-".join(groups)


@transaction.atomic
def add_staff(*, user: User, by: User | None = None) -> str:
    """Open an account and return its one-time password, which is stored nowhere in clear."""
    password = _replaced_password(user)
    note(user, AccountVerb.PASSWORD_RENEWED, by=by, recorded_as="account.added")
    return password


@transaction.atomic
def renew_one_time_password(*, user: User, by: User | None = None) -> str:
    """Replace a person's password by a one-time password, end their sign-ins, return it.

    It opens the account for `ONE_TIME_HOURS`.
    """
    password = _replaced_password(user)
    SignedIn.objects.filter(user=user).delete()
    note(user, AccountVerb.PASSWORD_RENEWED, by=by)
    return password


def _replaced_password(user: User) -> str:
    password = one_time_password()
    user.set_password(password)
    user.must_choose_password = True
    user.one_time_until = timezone.now() + timedelta(hours=ONE_TIME_HOURS)
    user.save()
    return password


@transaction.atomic
def choose_password(*, user: User, password: str, session_key: str | None = None) -> None:
    """Keep the password a person chose; end all their sign-ins but the one they did it in.

    Raises ValidationError, for the field `password`, when it is too weak or was to be replaced.
    """
    if user.must_choose_password and user.check_password(password):
        raise ValidationError({"password": NOT_ANOTHER})
    try:
        validate_password(password, user)
    except ValidationError as error:
        raise ValidationError({"password": error.error_list}) from None
    user.set_password(password)
    user.must_choose_password = False
    user.one_time_until = None
    user.save(update_fields=["password", "must_choose_password", "one_time_until"])
    SignedIn.objects.filter(user=user).exclude(session_key=session_key).delete()
    note(user, AccountVerb.PASSWORD_CHOSEN, by=user)


@transaction.atomic
def save_staff(*, user: User, by: User) -> User:
    """Keep changed details of an account; one that is switched off is signed out everywhere.

    What says the same as before is no edit and leaves no entry.
    Raises ValidationError, for the field `role`, where a lead gives the lead up: one must be left.
    """
    user.full_clean(exclude=["password"])
    if user == by and not (user.is_active and user.role == Role.CLINIC_LEAD):
        raise ValidationError({"role": NOT_ONESELF})
    stored = User.objects.get(pk=user.pk)
    changed = [name for name in EDITED if getattr(user, name) != getattr(stored, name)]
    if not changed:
        return user
    user.save(update_fields=changed)
    audit.record(by, "account.edited", subject=user)
    if not user.is_active:
        SignedIn.objects.filter(user=user).delete()
    return user


def note(about: User, verb: AccountVerb, *, by: User | None, recorded_as: str = "") -> None:
    """Tell the person, on the page of their account, and the lead, in the record.

    `by` None: from the server's command line, where nobody is signed in. The record names a person
    for each entry, so the account's page alone tells of that.
    """
    AccountEvent.objects.create(about=about, by=by, verb=verb)
    if by is not None:
        audit.record(by, recorded_as or f"account.{verb.value}", subject=about)


@transaction.atomic
def end_sign_in(*, user: User, mark: str, by: User) -> bool:
    """End one of a person's sign-ins; False if it is not theirs or has ended."""
    keys = SignedIn.objects.filter(user=user).values_list("session_key", flat=True)
    named = [key for key in keys if mark_of(key) == mark]
    if not named:
        return False
    SignedIn.objects.filter(session_key__in=named).delete()
    note(user, AccountVerb.SIGN_IN_ENDED, by=by)
    return True


@transaction.atomic
def end_sign_ins(*, user: User, by: User, but_key: str | None = None) -> None:
    """End all of a person's sign-ins, but the one with this key."""
    SignedIn.objects.filter(user=user).exclude(session_key=but_key).delete()
    note(user, AccountVerb.SIGN_INS_ENDED, by=by)


@transaction.atomic
def unlock(*, user: User, by: User | None = None) -> None:
    """Let a person try again at once who mistyped their password or code too often."""
    reset(username=user.sign_in_name.casefold())
    SecondFactor.objects.filter(user=user).update(
        throttling_failure_count=0, throttling_failure_timestamp=None
    )
    note(user, AccountVerb.UNLOCKED, by=by)


@transaction.atomic
def save_practice(*, practice: Practice) -> Practice:
    """Keep the practice's letterhead and units."""
    practice.full_clean()
    practice.save()
    return practice


VIEW_NAME_TAKEN = "You have a view of this name. Choose another."


def keep_view(*, view: SavedView) -> SavedView:
    """Keep a view of the caseload; one that opens first takes the place of the one before.

    Raises ValidationError when the owner has another of this name.
    """
    own = SavedView.objects.filter(owner=view.owner).exclude(pk=view.pk)
    if own.filter(name__iexact=view.name).exists():
        raise ValidationError({"name": VIEW_NAME_TAKEN})
    try:
        with transaction.atomic():
            if view.is_default:
                own.filter(is_default=True).update(is_default=False)
            view.save()
    except IntegrityError as error:
        raise ValidationError({"name": VIEW_NAME_TAKEN}) from error
    return view


def forget_view(*, view: SavedView) -> None:
    """Delete a person's own view; nothing else hangs on it."""
    view.delete()
