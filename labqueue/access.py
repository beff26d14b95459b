"""Who may open what: one table, role by URL name. A URL that is not in the table opens for nobody."""

from collections.abc import Callable
from typing import Any

from django.contrib.auth.views import redirect_to_login
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render
from rest_framework.permissions import BasePermission
from rest_framework.request import Request
from rest_framework.views import APIView

from labqueue.base import problems
from labqueue.base.errors import Forbidden, refuse
from labqueue.base.models import User
from labqueue.base.pages import show_refusal
from labqueue.base.roles import EVERYBODY, LABORATORY, Role

PUBLIC = frozenset({"sign-in", "schema", "health"})

TABLE: dict[str, frozenset[Role]] = {
    "home": EVERYBODY,
    "sign-out": EVERYBODY,
    "parts": LABORATORY,
}


def roles_for(name: str, method: str) -> frozenset[Role] | None:
    """The roles that may send `method` to the URL of that name: its own entry (`POST cases`) or the URL's; None if unknown."""
    return TABLE.get(f"{method} {name}", TABLE.get(name))


def may_open(user: User, name: str, method: str = "GET") -> bool:
    """Whether the table lets this person's role send `method` to the URL of that name."""
    return user.role in (roles_for(name, method) or frozenset())


class ByTable(BasePermission):
    """The same table for programs, asked once DRF knows who is there."""

    def has_permission(self, request: Request, view: APIView) -> bool:
        """False is answered 401 to nobody and 403 to the wrong role."""
        match = request.resolver_match
        method = request.method or "GET"
        return isinstance(request.user, User) and match is not None and may_open(request.user, match.view_name, method)


class Access:
    """Middleware: the table is asked before any view runs."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_view(
        self, request: HttpRequest, view: Callable[..., HttpResponse], args: Any, kwargs: Any
    ) -> HttpResponse | None:
        """None lets the view run. Programs authenticate in the view, where the table is asked again (`ByTable`)."""
        match = request.resolver_match
        name = match.view_name if match else ""
        if name in PUBLIC or is_api(request):
            return None
        user = request.user
        if not isinstance(user, User):
            return redirect_to_login(request.get_full_path())
        method = request.method or "GET"
        if roles_for(name, method) is None:
            raise Http404
        if may_open(user, name, method):
            return None
        return show_refusal(request, not_for(user))


def is_api(request: HttpRequest) -> bool:
    """Whether the request is for the interface for programs."""
    return request.path.startswith("/api/")


def not_for(user: User) -> Forbidden:
    """The refusal for a role that may not open something."""
    role = Role(user.role).label.lower()
    refusal = refuse("role", f"The role {role} cannot open this. Ask the administrator if you need it.", kind=Forbidden)
    assert isinstance(refusal, Forbidden)
    return refusal


def not_found(request: HttpRequest, exception: Exception) -> HttpResponse:
    """Unknown addresses: problem details for programs, a page for people."""
    if is_api(request):
        return problems.plain(request, 404, "Not Found", "There is nothing at this address.")
    return render(request, "base/not_found.html", status=404)


def crashed(request: HttpRequest) -> HttpResponse | JsonResponse:
    """Our own faults: nothing of the inside is shown."""
    if is_api(request):
        return problems.plain(request, 500, "Server Error", "The service failed. Nothing was written; try again.")
    return render(request, "base/crashed.html", status=500)
