"""Sign-ins for a service that has just been started: passwords are made at that moment and stand only on the screen."""

import secrets
from dataclasses import dataclass

from labqueue.base.models import User
from labqueue.base.roles import Role


@dataclass(frozen=True)
class SignIn:
    """What one person types to get in."""

    role: Role
    username: str
    password: str


def with_fresh_password(user: User) -> SignIn:
    """Give the user a new random password; the old one and all sessions under it end."""
    password = secrets.token_urlsafe(12)
    user.set_password(password)
    user.save(update_fields=["password"])
    return SignIn(Role(user.role), user.username, password)


def one_per_role() -> list[SignIn]:
    """Fresh sign-ins of the demonstration's people, who are named like their roles."""
    people = {user.username: user for user in User.objects.filter(username__in=Role.values)}
    return [with_fresh_password(people[role]) for role in Role if role in people]


def first_administrator() -> list[SignIn]:
    """An administrator where nobody can sign in yet; nobody otherwise."""
    if User.objects.exists():
        return []
    return [with_fresh_password(User.objects.create_user("admin", role=Role.ADMIN))]
