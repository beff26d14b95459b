"""The fixed cast of the tests: two practices and the laboratory. Functions, so that a test asks for what it needs."""

import tomllib
from functools import cache
from pathlib import Path
from typing import Any

from labqueue.base.models import User
from labqueue.base.roles import Role
from orders.models import Member, Practice

FIXTURES = Path(__file__).resolve().parent.parent / "fixtures"


@cache
def laboratory() -> dict[str, Any]:
    """The demonstration laboratory's stations, routes, lots and prices."""
    return tomllib.loads((FIXTURES / "laboratory.toml").read_text())


def user(name: str, role: Role) -> User:
    """A person of the laboratory or of a practice; the password is the name twice."""
    found = User.objects.filter(username=name).first()
    first = name.capitalize()
    return found or User.objects.create_user(name, password=name * 2, role=role, first_name=first, last_name="Test")


def technician() -> User:
    """Who works at the benches."""
    return user("tessa", Role.TECHNICIAN)


def manager() -> User:
    """Who accepts and releases."""
    return user("magnus", Role.MANAGER)


def shipper() -> User:
    """Who packs and ships."""
    return user("shirin", Role.SHIPPING)


def administrator() -> User:
    """Who makes accounts."""
    return user("adnan", Role.ADMIN)


def practice(code: str = "northgate", **facts: Any) -> Practice:
    """A practice that writes teeth in Universal notation and takes deliveries Monday to Friday."""
    given = {"name": f"{code.capitalize()} Dental", "address": "1 Test Lane", "phone": "555 0100", **facts}
    found: Practice = Practice.objects.get_or_create(code=code, defaults={"notation": "universal", **given})[0]
    return found


def prescriber(code: str = "northgate") -> User:
    """A licensed person of that practice, who may sign."""
    person = user(f"doctor-{code}", Role.PRACTICE)
    signer = {"practice": practice(code), "may_sign": True, "licence_number": "D-1001"}
    Member.objects.get_or_create(user=person, defaults=signer)
    return person


def assistant(code: str = "northgate") -> User:
    """A person of that practice who prepares orders but may not sign."""
    person = user(f"assistant-{code}", Role.PRACTICE)
    Member.objects.get_or_create(user=person, defaults={"practice": practice(code)})
    return person
