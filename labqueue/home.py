"""The first page of each role."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render


def home(request: HttpRequest) -> HttpResponse:
    """Today's work of the person who is signed in."""
    return render(request, "home.html")


def health(request: HttpRequest) -> HttpResponse:
    """For a load balancer: the process answers."""
    return HttpResponse("ok", content_type="text/plain")
