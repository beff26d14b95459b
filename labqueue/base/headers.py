"""The content security policy: everything from this host, nothing inline."""

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse

POLICY = "; ".join(
    [
        "default-src 'none'",
        "script-src 'self'",
        "style-src 'self'",
        "img-src 'self' data:",
        "font-src 'self'",
        "connect-src 'self'",
        "form-action 'self'",
        "manifest-src 'self'",
        "base-uri 'none'",
        "frame-ancestors 'none'",
    ]
)

# For files that people sent: should a browser open one all the same, it may run nothing and reach nobody.
SANDBOX = f"{POLICY}; sandbox"


class ContentSecurityPolicy:
    """Middleware: the policy on every answer that has no stricter one, and no caching of what a person sees."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        response.headers.setdefault("Content-Security-Policy", POLICY)
        response.headers.setdefault("Cache-Control", "no-store")
        return response
