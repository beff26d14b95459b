"""The gate before every page: the access table is asked before a view runs. And the answers where no view gives one."""

from collections.abc import Callable
from typing import Any

from django.contrib.auth.views import redirect_to_login
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.template.loader import render_to_string
from django.urls import reverse

from labqueue.access import PUBLIC, may_open, roles_for
from labqueue.base import problems
from labqueue.base.errors import Forbidden, refuse
from labqueue.base.models import User
from labqueue.base.pages import show_refusal
from labqueue.base.roles import Role

READING = frozenset({"GET", "HEAD"})


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
        user, method = request.user, request.method or "GET"
        if not isinstance(user, User):
            # What was sent is gone; the way back leads to what can be opened, not to where it was sent.
            return redirect_to_login(request.get_full_path() if method in READING else reverse("home"))
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


def bad_request(request: HttpRequest, exception: Exception) -> HttpResponse:
    """What the service does not even begin to read, such as a request to another host."""
    if is_api(request):
        return problems.plain(request, 400, "Bad Request", "The service cannot take this request as it was sent.")
    return bare("bad_request", 400)


def forged(request: HttpRequest, reason: str = "") -> HttpResponse:
    """A form whose token is missing or is not that of this browser (settings.CSRF_FAILURE_VIEW)."""
    why = "This page was open for too long, or your browser takes no cookies. Load it again and send it once more."
    if is_api(request):
        return problems.plain(request, 403, Forbidden.title, "The CSRF token is missing or wrong.")
    return show_refusal(request, refuse("csrf", why, kind=Forbidden))


def forbidden(request: HttpRequest, exception: Exception) -> HttpResponse:
    """What Django itself does not allow, in the shape of our own refusals."""
    why = "You cannot do this. Ask the administrator if you need it."
    if is_api(request):
        return problems.plain(request, 403, Forbidden.title, why)
    return show_refusal(request, refuse("forbidden", why, kind=Forbidden))


def not_found(request: HttpRequest, exception: Exception) -> HttpResponse:
    """Unknown addresses: problem details for programs, a page for people."""
    if is_api(request):
        return problems.plain(request, 404, "Not Found", "There is nothing at this address.")
    return render(request, "base/not_found.html", status=404)


def crashed(request: HttpRequest) -> HttpResponse:
    """Our own faults: nothing of the inside is shown."""
    if is_api(request):
        return problems.plain(request, 500, "Server Error", "The service failed. Nothing was written; try again.")
    return bare("base/crashed", 500)


def bare(template: str, status: int) -> HttpResponse:
    """A page without context processors: what broke the request may break them, too."""
    return HttpResponse(render_to_string(f"{template}.html"), status=status)
