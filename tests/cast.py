"""The people of the small clinic every test knows. All invented."""

from dataclasses import dataclass

from django.contrib.auth.hashers import PBKDF2PasswordHasher

from clinic.accounts.models import User
from clinic.common.vocabulary import Role

PASSWORD = "correct tape in hand 7"


class QuickHasher(PBKDF2PasswordHasher):
    """The app's own hasher with one round: each test makes four accounts."""

    iterations = 1


@dataclass(frozen=True)
class Cast:
    front_desk: User
    therapist: User
    other_therapist: User
    lead: User


def make_staff(sign_in_name: str, display_name: str, role: Role, credentials: str = "") -> User:
    user = User(
        sign_in_name=sign_in_name,
        display_name=display_name,
        role=role,
        credentials=credentials,
        must_choose_password=False,
    )
    user.set_password(PASSWORD)
    user.save()
    return user


def make_cast() -> Cast:
    return Cast(
        front_desk=make_staff("dora", "Dora Finch", Role.FRONT_DESK),
        therapist=make_staff("theo", "Theo Marsh", Role.THERAPIST, "PT, DPT"),
        other_therapist=make_staff("tilda", "Tilda Brook", Role.THERAPIST, "OTR/L"),
        lead=make_staff("leona", "Leona Vale", Role.CLINIC_LEAD, "PT"),
    )
