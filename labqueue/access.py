"""Who may open what: one table, role by URL name. A URL that is not in the table opens for nobody."""

from typing import Any

from rest_framework.permissions import BasePermission
from rest_framework.request import Request

from labqueue.base.models import User
from labqueue.base.roles import EVERYBODY, LABORATORY, Role

# A calendar program cannot sign in: whoever holds the address of a feed may read it.
PUBLIC = frozenset({"sign-in", "api:schema", "health", "orders:feed"})

PRACTICE = frozenset({Role.PRACTICE})
FLOOR = frozenset({Role.TECHNICIAN, Role.MANAGER})
BENCH = FLOOR | {Role.SHIPPING}
MANAGER = frozenset({Role.MANAGER})
DESK = frozenset({Role.SHIPPING, Role.MANAGER})
ADMIN = frozenset({Role.ADMIN})

# `name` for every method, or `METHOD name` where a method has roles of its own.
TABLE: dict[str, frozenset[Role]] = {
    "home": EVERYBODY,
    "sign-out": EVERYBODY,
    "parts": LABORATORY,
    "password": EVERYBODY,
    "tokens": EVERYBODY,
    "revoke-token": EVERYBODY,
    "revive": ADMIN,
    # Orders
    "orders:cases": EVERYBODY,
    "orders:new": PRACTICE,
    "orders:case": EVERYBODY,
    "orders:edit": PRACTICE,
    "orders:sign": PRACTICE,
    "orders:amend": PRACTICE,
    "orders:discard": PRACTICE,
    "orders:cancel": PRACTICE | MANAGER,
    "orders:accept": MANAGER,
    "orders:hold": FLOOR,
    "orders:resume": FLOOR,
    "orders:export": PRACTICE | MANAGER,
    "orders:feeds": PRACTICE,
    "orders:end-feed": PRACTICE,
    "orders:close-day": PRACTICE,
    "orders:reopen-day": PRACTICE,
    "orders:people": ADMIN,
    "orders:person": ADMIN,
    "orders:practices": ADMIN | MANAGER,
    "POST orders:practices": ADMIN,
    "orders:practice": ADMIN,
    "api:cases": EVERYBODY,
    "POST api:cases": PRACTICE,
    "api:case": EVERYBODY,
    "api:prescription": PRACTICE,
    "api:sign": PRACTICE,
    "api:amend": PRACTICE,
    "api:discard": PRACTICE,
    "api:cancel": PRACTICE | MANAGER,
    "api:accept": MANAGER,
    "api:hold": FLOOR,
    "api:resume": FLOOR,
    "orders:search": EVERYBODY,
    "orders:version": EVERYBODY,
    "api:version": EVERYBODY,
    # Orders: form
    "orders:check": PRACTICE,
    "orders:recheck": PRACTICE,
    "api:checks": PRACTICE,
    # Orders: rules
    "orders:implant": EVERYBODY,
    "POST orders:implant": FLOOR,
    "api:implant": EVERYBODY,
    "POST api:implant": FLOOR,
    # Orders: treatment
    "orders:treatment": EVERYBODY,
    "orders:plan": PRACTICE,
    "orders:evaluate": PRACTICE,
    "api:treatment": EVERYBODY,
    "api:plan": PRACTICE,
    "api:evaluations": PRACTICE,
    "api:carry": PRACTICE,
    # Orders: conversation
    "orders:talk": EVERYBODY,
    "orders:write": PRACTICE | FLOOR,
    "orders:answer": PRACTICE | FLOOR,
    "orders:approve": PRACTICE,
    "orders:ask-approval": FLOOR,
    "orders:notices": PRACTICE,
    "api:messages": EVERYBODY,
    "POST api:messages": PRACTICE | FLOOR,
    "api:answer": PRACTICE | FLOOR,
    "api:approve": PRACTICE,
    "api:ask-approval": FLOOR,
    # Orders: files
    "orders:files": EVERYBODY,
    "POST orders:files": PRACTICE | FLOOR,
    "orders:file": EVERYBODY,
    "orders:preview": EVERYBODY,
    "orders:withdraw": PRACTICE | FLOOR,
    "api:files": EVERYBODY,
    "POST api:files": PRACTICE | FLOOR,
    "api:file": EVERYBODY,
    "DELETE api:file": PRACTICE | FLOOR,
    "api:file-content": EVERYBODY,
    # Production
    "production:stations": BENCH,
    "production:bench": BENCH,
    "production:queue": BENCH,
    "production:scan": BENCH,
    "production:lot": BENCH,
    "production:release": MANAGER,
    "production:stop": MANAGER,
    "production:floor": EVERYBODY,
    "api:stations": LABORATORY,
    "api:queue": BENCH,
    "api:lot-in-use": BENCH,
    "api:scans": BENCH,
    "api:release": MANAGER,
    "api:stop": MANAGER,
    "api:work-items": EVERYBODY,
    # Planning
    "planning:stations": MANAGER,
    "planning:bottlenecks": MANAGER,
    "planning:forecast": MANAGER,
    "planning:outlook": EVERYBODY,
    "planning:promise": PRACTICE,
    "api:outlook": EVERYBODY,
    "api:promise": PRACTICE,
    "api:bottlenecks": MANAGER,
    "api:forecasts": MANAGER,
    # Shipping
    "shipping:desk": DESK,
    "shipping:pack": DESK,
    "shipping:box": DESK,
    "shipping:dispatch": DESK,
    "shipping:papers": EVERYBODY,
    "shipping:paper": EVERYBODY,
    "shipping:invoices": PRACTICE | DESK,
    "api:pack": DESK,
    "api:dispatch": DESK,
    "api:papers": EVERYBODY,
    "api:paper": EVERYBODY,
    "api:paper-file": EVERYBODY,
    "api:invoices": PRACTICE | DESK,
}


def roles_for(name: str, method: str) -> frozenset[Role] | None:
    """The roles that may send `method` to the URL of that name; None where the table does not know it."""
    return TABLE.get(f"{method} {name}", TABLE.get(name))


def may_open(user: User, name: str, method: str = "GET") -> bool:
    """Whether the table lets this person's role send `method` to the URL of that name."""
    return user.role in (roles_for(name, method) or frozenset())


class ByTable(BasePermission):
    """The same table for programs, asked once DRF knows who is there."""

    def has_permission(self, request: Request, view: Any) -> bool:
        """False is answered 401 to nobody and 403 to the wrong role."""
        match = request.resolver_match
        method = request.method or "GET"
        return isinstance(request.user, User) and match is not None and may_open(request.user, match.view_name, method)
