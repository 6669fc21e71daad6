"""Reads about programmes. Nobody without the permit sees any; bytes only when asked for."""

from django.db.models import QuerySet

from clinic.accounts import permits
from clinic.accounts.models import User
from clinic.clients.models import Episode
from programmes.models import ClinicExercise, Programme, Suits

IN_HAND = {"issued_at__isnull": False, "withdrawn_at": None, "superseded_at": None}


def programmes_for(user: User) -> QuerySet[Programme]:
    """The programmes this person may see, without their bytes; people and client joined."""
    if not permits.may(user, "programmes.see"):
        return Programme.objects.none()
    joined = Programme.objects.select_related(
        "episode__client", "episode__therapist", "edited_by", "issued_by", "withdrawn_by"
    )
    return joined.defer("handout")


def versions_of(episode: Episode, user: User) -> QuerySet[Programme]:
    """An episode's programmes, latest first. One query."""
    return programmes_for(user).filter(episode=episode)


def draft_of(episode: Episode) -> Programme | None:
    """The episode's one draft. One query."""
    return Programme.objects.filter(episode=episode, issued_at=None).first()


def in_hand(episode: Episode) -> Programme | None:
    """What the client holds: issued, not withdrawn, not superseded. One query."""
    found = Programme.objects.filter(episode=episode, **IN_HAND)
    return found.defer("handout").select_related("issued_by").first()


def last_issued(episode: Episode) -> Programme | None:
    """The version issued last, whatever became of it. One query."""
    issued = Programme.objects.filter(episode=episode, issued_at__isnull=False)
    return issued.defer("handout").order_by("-number").first()


def stored_handout(programme: Programme) -> bytes:
    """The very bytes that were given. One query."""
    return bytes(Programme.objects.values_list("handout", flat=True).get(pk=programme.pk))


def exercises() -> QuerySet[ClinicExercise]:
    """The clinic's whole list."""
    return ClinicExercise.objects.all()


def exercises_to_choose(chosen: list[int]) -> list[ClinicExercise]:
    """Those on offer, and those already chosen even if no longer offered. One query."""
    return [one for one in ClinicExercise.objects.all() if one.is_offered or one.pk in chosen]


def exercises_that_suit(suits: set[Suits]) -> list[int]:
    """Keys of the exercises that a new programme of these regions begins with. One query."""
    wanted = ClinicExercise.objects.filter(is_offered=True, suits__in=suits | {Suits.EVERYONE})
    return list(wanted.values_list("pk", flat=True))
