"""Finds the person whom a command names."""

from django.core.management.base import CommandError

from clinic.accounts.models import User


def person_named(name: str) -> User:
    """The account with this sign-in name. Raises CommandError, listing the names there are."""
    try:
        return User.objects.get_by_natural_key(name)
    except User.DoesNotExist:
        raise CommandError(f"Nobody signs in as {name}. Sign-in names: {_names()}.") from None


def _names() -> str:
    names = User.objects.filter(is_active=True).values_list("sign_in_name", flat=True)
    return ", ".join(names) or "none yet; make one with manage.py add_staff NAME --role clinic_lead"
