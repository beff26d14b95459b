"""What a person can do with a case now. The verbs ask again; this only spares people from trying."""

from labqueue.base.models import User
from labqueue.base.roles import Role
from orders.hold import HOLDABLE
from orders.lifecycle import CHANGEABLE
from orders.models import Case, Member

S = Case.State
FLOOR = (Role.TECHNICIAN, Role.MANAGER)
BEFORE_RELEASE = frozenset({S.DRAFT, S.SIGNED, S.ACCEPTED})


def actions_for(user: User, case: Case) -> frozenset[str]:
    """The names of the verbs, as in their addresses, that `user` may call on `case` in its state."""
    possible = laboratory(user, case) if user.works_here else practice(user, case)
    return frozenset(name for name, now in possible.items() if now)


def laboratory(user: User, case: Case) -> dict[str, bool]:
    """Which verbs of the laboratory are possible."""
    manager, floor = user.role == Role.MANAGER, user.role in FLOOR
    return {
        "accept": manager and case.state == S.SIGNED and not case.on_hold,
        "hold": floor and case.state in HOLDABLE and not case.on_hold,
        "resume": floor and case.on_hold,
        "cancel": manager and case.state in BEFORE_RELEASE,
    }


def practice(user: User, case: Case) -> dict[str, bool]:
    """Which verbs of the practice are possible."""
    draft, signed = case.draft is not None, case.current_id is not None
    editable = draft and (case.state == S.DRAFT or case.state in CHANGEABLE)
    return {
        "edit": editable,
        "sign": editable and Member.objects.filter(user=user, may_sign=True).exists(),
        "amend": signed and not draft and case.state in CHANGEABLE,
        "discard": signed and draft,
        "cancel": case.state in BEFORE_RELEASE,
    }
