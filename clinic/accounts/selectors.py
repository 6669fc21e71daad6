"""Reads about staff and the practice."""

from django.db.models import QuerySet

from clinic.accounts.models import Practice, SavedView, User


def practice_card() -> Practice:
    """The practice, with defaults until the clinic lead has filled it in. One query."""
    return Practice.objects.filter(pk=1).first() or Practice()


def staff_list() -> QuerySet[User]:
    """Every account, those in use first."""
    return User.objects.order_by("-is_active", "display_name")


def saved_views(user: User) -> QuerySet[SavedView]:
    """This person's own views of the caseload, by name; nobody else's are ever in it."""
    return SavedView.objects.filter(owner=user)
