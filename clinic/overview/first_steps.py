"""What a new practice sets up before its first day, shown to the clinic lead until it is done."""

from dataclasses import dataclass

from django.db.models import Exists

from clinic.accounts import permits
from clinic.accounts.models import Practice, User
from clinic.clients.models import Client, Referrer
from clinic.scheduling.staff_time import WorkingHours


@dataclass(frozen=True)
class FirstStep:
    """One thing to set up, the page for it, and what it is for."""

    words: str
    why: str
    url_name: str
    is_done: bool


def first_steps(user: User) -> tuple[FirstStep, ...]:
    """All steps in their order while one is undone, else none. One query, none for others."""
    if not permits.may(user, "practice.edit"):
        return ()
    has_address, has_colleague, has_hours, has_referrer, has_client = (
        User.objects.filter(pk=user.pk)
        .values_list(
            Exists(Practice.objects.exclude(street="")),
            Exists(User.objects.exclude(pk=user.pk)),
            Exists(WorkingHours.objects.all()),
            Exists(Referrer.objects.all()),
            Exists(Client.objects.all()),
        )
        .get()
    )
    is_begun = has_colleague or has_hours  # who works alone adds nobody, and enters own hours
    steps = (
        FirstStep(
            "Name and address of the practice", "They head each letter.", "practice", has_address
        ),
        FirstStep("Staff", "Each signs in with a name of their own.", "staff", is_begun),
        FirstStep(
            "Working hours and rooms", "Free times are found in them.", "staff-time", has_hours
        ),
        FirstStep(
            "Referrers",
            "Typed in, or from a list under “Data out and in”.",
            "referrers",
            has_referrer,
        ),
        FirstStep("Clients", "Registered one by one, or from a list.", "clients", has_client),
    )
    return () if all(step.is_done for step in steps) else steps
