"""Refusals for programs: problem details as in RFC 9457."""

from typing import Any

from django.http import HttpRequest, HttpResponse, JsonResponse
from rest_framework import exceptions
from rest_framework.response import Response
from rest_framework.views import exception_handler

from labqueue.base.errors import Conflict, Fault, Forbidden, NotFound, Refusal
from labqueue.base.pages import show_refusal

MEDIA_TYPE = "application/problem+json"
# The framework's errors of the same status bear our title, since a type has one title.
TITLES = {kind.status: kind.title for kind in (Refusal, Forbidden, NotFound, Conflict)}


def body(status: int, title: str, faults: list[Fault]) -> dict[str, Any]:
    """The document: `type`, `title`, `status`, `detail` and one entry per fault in `errors`."""
    title = TITLES.get(status, title)
    return {
        "type": f"urn:labqueue:problem:{title.lower().replace(' ', '-')}",
        "title": title,
        "status": status,
        "detail": " ".join(fault.message for fault in faults) or title,
        "errors": [{"pointer": f.pointer, "code": f.code, "message": f.message} for f in faults],
    }


def handler(error: Exception, context: dict[str, Any]) -> Response | None:
    """DRF's exception handler: our refusals and the framework's own errors in one shape."""
    if isinstance(error, Refusal):
        return answer(error.status, error.title, list(error.faults))
    response = exception_handler(error, context)
    if response is None:
        return None
    titled = answer(response.status_code, response.status_text, faults_of(error, response.data))
    for name in ("WWW-Authenticate", "Retry-After"):
        if name in response.headers:
            titled.headers[name] = response.headers[name]
    return titled


def answer(status: int, title: str, faults: list[Fault]) -> Response:
    """A DRF response with the problem's media type."""
    response = Response(body(status, title, faults), status=status)
    response.content_type = MEDIA_TYPE
    return response


def faults_of(error: Exception, data: Any) -> list[Fault]:
    """A framework error's faults: one per field where it was the input, else one for the whole request."""
    if isinstance(data, dict) and "detail" in data and not isinstance(error, exceptions.ValidationError):
        return flatten(data["detail"])
    return flatten(data)


def flatten(data: Any, path: str = "") -> list[Fault]:
    """DRF's nested validation errors as faults with their paths."""
    if isinstance(data, dict):
        return [fault for key, value in data.items() for fault in flatten(value, join(path, str(key)))]
    if isinstance(data, list) and any(isinstance(value, dict) for value in data):
        return [fault for index, value in enumerate(data) for fault in flatten(value, join(path, str(index)))]
    values = data if isinstance(data, list) else [data]
    return [Fault(getattr(value, "code", "invalid"), str(value), path) for value in values]


def join(path: str, key: str) -> str:
    """One step further down; errors of the whole object stay where they are."""
    if key == "non_field_errors":
        return path
    return f"{path}.{key}" if path else key


def plain(request: HttpRequest, status: int, title: str, message: str) -> JsonResponse:
    """For errors outside DRF (unknown address, crash) under the interface's path."""
    return JsonResponse(body(status, title, [Fault("error", message)]), status=status, content_type=MEDIA_TYPE)


def refused(request: HttpRequest, refusal: Refusal) -> HttpResponse:
    """For refusals at the door, before any view: problem details for programs, a page for people."""
    if not request.path.startswith("/api/"):
        return show_refusal(request, refusal)
    document = body(refusal.status, refusal.title, list(refusal.faults))
    return JsonResponse(document, status=refusal.status, content_type=MEDIA_TYPE)
