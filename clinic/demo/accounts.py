"""One account a role, each with a one-time password."""

from concurrent.futures import Executor, Future
from dataclasses import dataclass
from typing import Any

from django.contrib.auth.hashers import make_password

from clinic.accounts.models import User
from clinic.accounts.services import one_time_password
from clinic.common.vocabulary import Role


@dataclass(frozen=True)
class Account:
    """A sign-in as it is printed: `password` is None where the account was there before."""

    sign_in_name: str
    display_name: str
    role: Role
    password: str | None


@dataclass(frozen=True)
class NewPassword:
    """A one-time password and its hash, which is still being computed."""

    password: str
    hashed: Future[str]


def hire(told: dict[str, Any], beside: Executor) -> dict[str, NewPassword]:
    """Open the accounts; sign-in name -> password, to be given by `hand_out`.

    As `accounts.services.add_staff`, but the hashes, slow on purpose, are made beside the stories,
    and the passwords have no end: a trial is taken up again after weeks.
    """
    User.objects.bulk_create(
        User(**{**person, "role": Role(person["role"])}) for person in told["staff"]
    )
    passwords = {person["sign_in_name"]: one_time_password() for person in told["staff"]}
    return {
        name: NewPassword(password, beside.submit(make_password, password))
        for name, password in passwords.items()
    }


def hand_out(new: dict[str, NewPassword]) -> None:
    """Give every new account its password."""
    users = list(User.objects.filter(sign_in_name__in=new))
    for user in users:
        user.password = new[user.sign_in_name].hashed.result()
    User.objects.bulk_update(users, ["password"])


def accounts_of(told: dict[str, Any], new: dict[str, NewPassword]) -> list[Account]:
    """The demo's accounts that are there, in the order of the fixture."""
    names = [person["sign_in_name"] for person in told["staff"]]
    people = {user.sign_in_name: user for user in User.objects.filter(sign_in_name__in=names)}
    return [
        Account(
            name,
            people[name].display_name,
            Role(people[name].role),
            new[name].password if name in new else None,
        )
        for name in names
        if name in people
    ]
