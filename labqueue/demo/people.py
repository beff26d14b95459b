"""The people of the demonstration: the laboratory's 26 with their administrator, and those of each practice.

There is one sign-in that is named like each role. Nobody has a password: whoever starts the demonstration makes them.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from labqueue.base.models import User
from labqueue.base.roles import Role
from orders.models import Member, Practice


@dataclass
class Cast:
    """Who does what."""

    manager: User
    shipping: list[User] = field(default_factory=list)
    benches: dict[str, list[User]] = field(default_factory=dict)
    practices: list[Practice] = field(default_factory=list)
    signers: list[Member] = field(default_factory=list)
    preparers: list[User] = field(default_factory=list)


def people(scenario: Mapping[str, Any]) -> Cast:
    """Write all of them."""
    names = _names(scenario)
    cast = Cast(manager=_person("manager", Role.MANAGER, next(names)))
    _person("admin", Role.ADMIN, next(names))
    for station, count in scenario["staff"].items():
        role = Role.SHIPPING if station == "packing" else Role.TECHNICIAN
        cast.benches[station] = [_person(_sign_in(station, n), role, next(names)) for n in range(count)]
    cast.shipping = cast.benches["packing"]
    for index, facts in enumerate(scenario["practices"]):
        _practice(cast, facts, index, names)
    return cast


def _sign_in(station: str, n: int) -> str:
    """The first designer and the first packer are the demonstration's technician and shipping."""
    if n == 0 and station in ("finishing", "packing"):
        return "technician" if station == "finishing" else "shipping"
    return f"{station}-{n + 1}"


def _practice(cast: Cast, facts: Mapping[str, Any], index: int, names: Iterator[tuple[str, str]]) -> None:
    practice = Practice.objects.create(phone=f"555 01{index:02d}", **facts)
    signer = _person("practice" if index == 0 else f"dr-{practice.code}", Role.PRACTICE, next(names))
    helper = _person(f"desk-{practice.code}", Role.PRACTICE, next(names))
    licence = f"D-{40211 + 137 * index}"
    cast.signers.append(
        Member.objects.create(user=signer, practice=practice, may_sign=True, may_approve=True, licence_number=licence)
    )
    Member.objects.create(user=helper, practice=practice)
    cast.practices.append(practice)
    cast.preparers.append(helper)


def _names(scenario: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    """Each pair of names once: all first names in turn, each time with other last names."""
    first, last = scenario["names"]["first"], scenario["names"]["last"]
    return ((name, last[(5 * n + turn) % len(last)]) for turn in range(len(last)) for n, name in enumerate(first))


def _person(username: str, role: Role, name: tuple[str, str]) -> User:
    user = User(username=username, role=role, first_name=name[0], last_name=name[1])
    user.set_unusable_password()
    user.save()
    return user
