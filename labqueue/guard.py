"""The gate before every page: the access table is asked before a view runs. And the answers to unknown addresses."""

from collections.abc import Callable
from typing import Any

from django.contrib.auth.views import redirect_to_login
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render
from django.template.loader import render_to_string

from labqueue.access import PUBLIC, may_open, roles_for
from labqueue.base import problems
from labqueue.base.errors import Forbidden, refuse
from labqueue.base.models import User
from labqueue.base.pages import show_refusal
from labqueue.base.roles import Role


class Gate:
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
    # Without context processors: what broke the page may break them, too.
    return HttpResponse(render_to_string("base/crashed.html"), status=500)
