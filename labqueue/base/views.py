"""What the administrator does about work that was set aside."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.views.decorators.http import require_POST

from labqueue.base import outbox
from labqueue.base.errors import NotFound, refuse
from labqueue.base.models import OutboxRow, User


@require_POST
def revive(request: HttpRequest, pk: int) -> HttpResponse:
    """Have failed work tried again, from the first attempt on."""
    assert isinstance(request.user, User)
    outbox.revive(failed(pk), request.user)
    messages.success(request, "A worker tries it again.")
    return redirect("home")


def failed(pk: int) -> OutboxRow:
    """The outbox row of that id. Raises NotFound where there is none."""
    row = OutboxRow.objects.filter(pk=pk).first()
    if row is None:
        raise refuse("work", "There is no such work.", kind=NotFound)
    return row
