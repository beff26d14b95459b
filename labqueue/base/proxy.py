"""Who asks, where a proxy stands before us."""

from collections.abc import Callable
from ipaddress import ip_address

from django.http import HttpRequest, HttpResponse


class BehindProxy:
    """Middleware for exactly one proxy: the client is whom that proxy saw, the last address of X-Forwarded-For.

    The addresses before it are what the client itself claims, and count for nothing.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        last = request.META.get("HTTP_X_FORWARDED_FOR", "").rpartition(",")[2].strip()
        if is_address(last):
            request.META["REMOTE_ADDR"] = last
        return self.get_response(request)


def is_address(text: str) -> bool:
    """Whether it is an IPv4 or IPv6 address."""
    try:
        ip_address(text)
    except ValueError:
        return False
    return True
