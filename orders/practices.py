"""The practices that order: taking one on, and keeping its facts right."""

import re
from collections.abc import Collection
from dataclasses import asdict, dataclass
from functools import cache
from typing import Any
from zoneinfo import available_timezones

from django.db import transaction
from django.db.models import TextChoices

from labqueue.base import audit
from labqueue.base.errors import Fault, Refusal
from labqueue.base.models import User
from orders import teeth
from orders.choices import Pack, Parts
from orders.models import Practice

CODE = r"[a-z0-9][a-z0-9-]{1,11}"
WEEK = "0123456"
MOST_TRANSIT_DAYS = 10
# The texts that are needed, with what people call them and how long they may be.
TEXTS = {"name": ("the name", 80), "address": ("the address", 200), "phone": ("the telephone number", 30)}

WORDS: dict[str, type[TextChoices]] = {"parts": Parts, "pack": Pack}


@dataclass(frozen=True)
class PracticeFacts:
    """What can change of a practice. `weekdays` are those on which it takes deliveries, digits from 0 (Monday)."""

    name: str
    address: str
    phone: str
    notation: str
    weekdays: Collection[str]
    transit_days: int
    time_zone: str
    # What its orders say where they do not say anything else, and the law of its place.
    wants_approval: bool = False
    parts: str = Parts.LABORATORY
    pack: str = Pack.UNION


@transaction.atomic
def add_practice(actor: User, *, code: str, facts: PracticeFacts) -> Practice:
    """A new practice. Its code is for good: signed prescriptions are sealed with it.

    Raises Refusal with every fault.
    """
    code, tidied = code.strip().lower(), tidy(facts)
    faults = code_faults(code) + facts_faults(tidied)
    if faults:
        raise Refusal(faults)
    practice, is_new = Practice.objects.get_or_create(code=code, defaults=tidied)
    if not is_new:  # somebody else took the code since it was checked
        raise Refusal([taken(code)])
    audit.record(practice, "added", actor, after={"code": code, **tidied})
    return practice


@transaction.atomic
def change_practice(actor: User, practice: Practice, facts: PracticeFacts) -> dict[str, Any]:
    """Put other facts in force and return those that changed; where none did, nothing is written.

    Dates that were promised stay. Raises Refusal with every fault.
    """
    practice.refresh_from_db(from_queryset=Practice.objects.select_for_update(no_key=True))
    tidied = tidy(facts)
    faults = facts_faults(tidied)
    if faults:
        raise Refusal(faults)
    before = {name: getattr(practice, name) for name in tidied if getattr(practice, name) != tidied[name]}
    after = {name: tidied[name] for name in before}
    if after:
        for name, value in after.items():
            setattr(practice, name, value)
        practice.save(update_fields=list(after))
        audit.record(practice, "changed", actor, before=before, after=after)
    return after


def tidy(facts: PracticeFacts) -> dict[str, Any]:
    """As the facts are kept: texts without needless spaces, every weekday once and in order."""
    texts = {name: " ".join(getattr(facts, name).split()) for name in (*TEXTS, "time_zone")}
    return {**asdict(facts), **texts, "weekdays": "".join(sorted(set(facts.weekdays)))}


def code_faults(code: str) -> list[Fault]:
    """A code is short, and nobody else's."""
    if not re.fullmatch(CODE, code):
        wanted = "Give a code of 2 to 12 small letters, digits and hyphens, such as northgate."
        return [Fault("code", wanted, "code")]
    return [taken(code)] if Practice.objects.filter(code=code).exists() else []


def taken(code: str) -> Fault:
    """Two practices cannot share a code."""
    return Fault("code", f"There is already a practice with the code {code}. Choose another.", "code")


def facts_faults(facts: dict[str, Any]) -> list[Fault]:
    """Everything that is wrong with the facts in their tidy form, each fault with its field."""
    faults = [
        Fault(field, f"Give {word} of the practice, in at most {most} characters.", field)
        for field, (word, most) in TEXTS.items()
        if not 1 <= len(facts[field]) <= most
    ]
    if facts["notation"] not in teeth.Notation.values:
        faults.append(Fault("notation", f"Choose the notation: {', '.join(teeth.Notation.values)}.", "notation"))
    faults += [
        Fault(name, f"Choose one of {', '.join(words.values)}.", name)
        for name, words in WORDS.items()
        if facts[name] not in words.values
    ]
    return [*faults, *way_faults(**{name: facts[name] for name in ("weekdays", "transit_days", "time_zone")})]


def way_faults(weekdays: str, transit_days: int, time_zone: str) -> list[Fault]:
    """What is wrong with the way to the practice: dates are counted by it."""
    faults = []
    if not weekdays or not set(weekdays) <= set(WEEK):
        why = "Choose at least one weekday on which the practice takes deliveries, from Monday to Sunday."
        faults.append(Fault("weekdays", why, "weekdays"))
    if not 0 <= transit_days <= MOST_TRANSIT_DAYS:
        why = f"Give the working days that a box is on its way, from 0 to {MOST_TRANSIT_DAYS}."
        faults.append(Fault("transit_days", why, "transit_days"))
    if time_zone not in time_zones():
        why = f"“{time_zone[:40]}” is no time zone. Give one by region and city, such as Europe/Lisbon."
        faults.append(Fault("time_zone", why, "time_zone"))
    return faults


@cache
def time_zones() -> tuple[str, ...]:
    """The names of all places' time zones that this machine knows, and UTC, in the order of the alphabet."""
    return tuple(sorted(name for name in available_timezones() if "/" in name or name == "UTC"))
