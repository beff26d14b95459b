"""Where somebody of a practice gets mail, and whether."""

from django.core.exceptions import ValidationError
from django.core.validators import validate_email
from django.db import transaction

from labqueue.base import audit
from labqueue.base.errors import Fault, Refusal
from labqueue.base.models import User
from orders.doors import member_of
from orders.models import Member

LENGTH = 254


@transaction.atomic
def set_notices(actor: User, address: str, wanted: bool) -> Member:
    """Keep the own address, and whether notices go there. The address itself stays out of the audit trail.

    Raises Forbidden for people of the laboratory, Refusal where it is no address, or none is given and mail is wanted.
    """
    member = member_of(actor)
    mail = address.strip()
    if faults := address_faults(mail, wanted):
        raise Refusal(faults)
    before = {"notices": member.notices, "address": bool(member.user.email)}
    member.notices, member.user.email = wanted, mail
    member.save(update_fields=["notices"])
    member.user.save(update_fields=["email"])
    audit.record(member.user, "notices set", actor, before=before, after={"notices": wanted, "address": bool(mail)})
    return member


def address_faults(mail: str, wanted: bool) -> list[Fault]:
    """What is wrong with an address."""
    if not mail:
        return [Fault("email", "Give the address to which notices go, or switch them off.", "email")] if wanted else []
    try:
        validate_email(mail)
    except ValidationError:
        return [Fault("email", "Give one address, such as desk@practice.example.", "email")]
    return [] if len(mail) <= LENGTH else [Fault("email", f"An address has at most {LENGTH} characters.", "email")]
