"""Writes about staff and the practice."""

import secrets

from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction

from clinic.accounts.models import Practice, SavedView, User
from clinic.common.vocabulary import Role

# No letters or digits that are mistaken for one another on paper.
ONE_TIME_ALPHABET = "abcdefghjkmnpqrstuvwxyz23456789"


def one_time_password() -> str:
    """Four groups of four, about 79 bits: typed once from a printout, then replaced."""
    groups = ("".join(secrets.choice(ONE_TIME_ALPHABET) for _ in range(4)) for _ in range(4))
    return "-".join(groups)


@transaction.atomic
def add_staff(*, sign_in_name: str, display_name: str, role: Role, credentials: str = "") -> str:
    """Open an account and return its one-time password, which is stored nowhere in clear."""
    user = User(
        sign_in_name=sign_in_name, display_name=display_name, role=role, credentials=credentials
    )
    return renew_one_time_password(user=user)


@transaction.atomic
def renew_one_time_password(*, user: User) -> str:
    """Replace a person's password by a one-time password and return that."""
    password = one_time_password()
    user.set_password(password)
    user.must_choose_password = True
    user.save()
    return password


@transaction.atomic
def choose_password(*, user: User, password: str) -> None:
    """Keep the password a person chose. Raises ValidationError when it is too weak."""
    validate_password(password, user)
    user.set_password(password)
    user.must_choose_password = False
    user.save(update_fields=["password", "must_choose_password"])


@transaction.atomic
def save_staff(*, user: User) -> User:
    """Keep changed details of an account."""
    user.full_clean(exclude=["password"])
    user.save()
    return user


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
