"""The people who use the service: making accounts, switching them off, and a new password for who lost it."""

import secrets
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction

from labqueue.base import audit
from labqueue.base.errors import Conflict, Fault, Refusal, refuse
from labqueue.base.models import User
from labqueue.base.roles import Role
from orders.models import Member, Practice

LICENCE_LENGTH = 30


@transaction.atomic
def add_person(
    actor: User | None,
    *,
    username: str,
    name: str,
    role: str,
    practice: Practice | None = None,
    may_sign: bool = False,
    licence_number: str = "",
    may_approve: bool | None = None,
) -> tuple[User, str]:
    """A new account, and its password: shown once, kept nowhere.

    Only people of a practice have one, and only they sign, with a licence number, and approve designs: who signs does,
    where nothing else is said. Raises Refusal with every fault.
    """
    facts = {"username": username.strip(), "name": " ".join(name.split()), "role": role}
    licence = licence_number.strip()
    approves = may_sign if may_approve is None else may_approve
    faults = person_faults(**facts) + member_faults(role, practice, may_sign, licence)
    if approves and not may_sign and role != Role.PRACTICE:
        faults.append(Fault("may_approve", "Only people of a practice approve designs.", "may_approve"))
    if faults:
        raise Refusal(faults)
    first, _, last = facts["name"].rpartition(" ")
    password = fresh_password()
    person = User.objects.create_user(facts["username"], password=password, role=role, first_name=first, last_name=last)
    rights: dict[str, Any] = {"may_sign": may_sign, "may_approve": approves, "licence_number": licence}
    if practice is not None:
        Member.objects.create(user=person, practice=practice, **rights)
    code = practice.code if practice else None
    after = {**facts, "practice": code, **rights}
    audit.record(person, "added", actor, after=after)
    return person, password


@transaction.atomic
def set_active(actor: User, person: User, active: bool) -> User:
    """Let somebody in, or no longer. What the person did stays under that name."""
    person.refresh_from_db(from_queryset=User.objects.select_for_update(no_key=True))
    if person.pk == actor.pk and not active:
        raise refuse("active", "You cannot switch off your own account. Ask another administrator.", kind=Conflict)
    before = person.is_active
    person.is_active = active
    person.save(update_fields=["is_active"])
    verb = "switched on" if active else "switched off"
    audit.record(person, verb, actor, before={"active": before}, after={"active": active})
    return person


@transaction.atomic
def set_may_approve(actor: User, person: User, may: bool) -> Member:
    """Let somebody of a practice approve designs, or no longer. What was approved stays under that name."""
    member = Member.objects.select_for_update(no_key=True).filter(user=person).first()
    if member is None:
        raise refuse("may_approve", "Only people of a practice approve designs.", "may_approve", kind=Conflict)
    before, member.may_approve = member.may_approve, may
    member.save(update_fields=["may_approve"])
    verb = "may approve" if may else "may not approve"
    audit.record(person, verb, actor, before={"may_approve": before}, after={"may_approve": may})
    return member


@transaction.atomic
def renew_password(actor: User, person: User) -> str:
    """A new password for somebody who lost it: shown once, kept nowhere. It ends the person's sessions.

    Raises Conflict for the own account: who knows the old password changes it on the page for that.
    """
    person.refresh_from_db(from_queryset=User.objects.select_for_update(no_key=True))
    if person.pk == actor.pk:
        raise refuse("password", "Change your own password on the page Password, with the old one.", kind=Conflict)
    password = fresh_password()
    person.set_password(password)
    person.save(update_fields=["password"])
    audit.record(person, "password renewed", actor)
    return password


def fresh_password() -> str:
    """96 random bits as 16 characters."""
    return secrets.token_urlsafe(12)


def person_faults(username: str, name: str, role: str) -> list[Fault]:
    """What is wrong with the account itself."""
    faults = []
    try:
        field: Any = User._meta.get_field("username")
        field.clean(username, None)
    except ValidationError as error:
        faults.append(Fault("username", " ".join(error.messages), "username"))
    if User.objects.filter(username__iexact=username).exists():
        faults.append(Fault("username", f"There is already somebody with the sign-in {username[:40]}.", "username"))
    if not 1 <= len(name) <= 100:
        faults.append(Fault("name", "Give the person's name, in at most 100 characters.", "name"))
    if role not in Role.values:
        faults.append(Fault("role", f"Choose the role: {', '.join(Role.values)}.", "role"))
    return faults


def member_faults(role: str, practice: Practice | None, may_sign: bool, licence: str) -> list[Fault]:
    """What is wrong with the membership of a practice."""
    faults = []
    if role == Role.PRACTICE and practice is None:
        faults.append(Fault("practice", "Choose the practice of this person.", "practice"))
    if role != Role.PRACTICE and practice is not None:
        faults.append(
            Fault("practice", "Only people with the role practice belong to one. Leave it empty.", "practice")
        )
    if may_sign and role != Role.PRACTICE:
        faults.append(Fault("may_sign", "Only people of a practice sign prescriptions.", "may_sign"))
    if may_sign and not licence:
        faults.append(Fault("licence_number", "Who signs needs a licence number.", "licence_number"))
    if len(licence) > LICENCE_LENGTH:
        most = f"A licence number has at most {LICENCE_LENGTH} characters."
        faults.append(Fault("licence_number", most, "licence_number"))
    return faults
