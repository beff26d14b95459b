"""The first page of each role: that person's work of today. And the way to everything else."""

from collections.abc import Callable
from datetime import datetime
from typing import Any

from django.db.models import Count, Max, Q, QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone

from labqueue.access import may_open
from labqueue.base.models import OutboxRow, User
from labqueue.base.roles import Role
from labqueue.planning.models import Forecast
from labqueue.production.models import Station, WorkStep
from orders.doors import cases_for
from orders.lifecycle import CHANGEABLE
from orders.models import OPEN_STATES, Case
from shipping.models import Delivery

# Shares of the probability to be late from which a case is listed for the manager.
AT_RISK = 0.25
SHOWN = 12

WAYS = (
    ("home", "Today"),
    ("orders:cases", "Cases"),
    ("orders:new", "New order"),
    ("production:stations", "Benches"),
    ("planning:stations", "Stations"),
    ("shipping:desk", "Shipping"),
    ("shipping:invoices", "Invoices"),
    ("orders:people", "People"),
    ("orders:practices", "Practices"),
    ("tokens", "Access keys"),
)

# Addresses that lie on another way than the first one of their room.
PARTS_OF = {"orders:person": "orders:people", "orders:practice": "orders:practices"}


def navigation(request: HttpRequest) -> dict[str, Any]:
    """Context of every page: the ways that this person's role may go."""
    user = getattr(request, "user", None)
    if not isinstance(user, User):
        return {}
    ways = [(name, label) for name, label in WAYS if may_open(user, name)]
    here = current_way([name for name, _ in ways], request.resolver_match.view_name if request.resolver_match else "")
    return {"navigation": [{"url": reverse(n), "label": label, "current": n == here} for n, label in ways]}


def current_way(ways: list[str], here: str) -> str:
    """The way on which an address lies: itself, or the first one of its room. Empty for none."""
    here = PARTS_OF.get(here, here)
    room = here.partition(":")[0] + ":"
    return here if here in ways else next((way for way in ways if way.startswith(room)), "")


def home(request: HttpRequest) -> HttpResponse:
    """Today's work of the person who is signed in."""
    assert isinstance(request.user, User)
    role = Role(request.user.role)
    return render(request, f"home/{role}.html", PAGES[role](request.user))


def health(request: HttpRequest) -> HttpResponse:
    """For a load balancer: the process answers."""
    return HttpResponse("ok", content_type="text/plain")


def shown(cases: QuerySet[Case]) -> QuerySet[Case]:
    """Cases with all that a line of a list shows, in one query."""
    return cases.select_related("practice", "outlook")


def practice(user: User) -> dict[str, Any]:
    """What waits for the practice, what comes next, what is on its way."""
    mine = shown(cases_for(user))
    running = mine.filter(state__in=OPEN_STATES)
    begun = Q(state__in=CHANGEABLE, prescriptions__signed_at__isnull=True)
    return {
        "drafts": mine.filter(Q(state=Case.State.DRAFT) | begun).distinct()[:SHOWN],
        "held": running.filter(held_since__isnull=False)[:SHOWN],
        "coming": running.order_by("seat_at", "due_at")[:SHOWN],
        "open_count": running.count(),
        "sent": mine.filter(state=Case.State.SHIPPED).order_by("-shipped_at")[:5],
    }


def technician(user: User) -> dict[str, Any]:
    """What is in this person's hands, and what waits at each bench."""
    running = Count("work_steps", filter=Q(work_steps__state=WorkStep.State.RUNNING))
    mine = WorkStep.objects.filter(state=WorkStep.State.RUNNING, started_by=user)
    urgent = shown(cases_for(user)).filter(state=Case.State.RELEASED, held_since__isnull=True)
    return {
        "mine": mine.select_related("item__case__practice", "item__case__outlook", "station").order_by("started_at"),
        "stations": Station.objects.annotate(running=running).order_by("position"),
        "urgent": urgent.order_by("due_at")[:SHOWN],
    }


def manager(user: User) -> dict[str, Any]:
    """Exceptions: what is to be decided, what is in danger, what stands still."""
    cases = shown(cases_for(user))
    running = cases.filter(state__in=OPEN_STATES)
    states = dict(cases_for(user).values_list("state").annotate(Count("pk")).order_by())
    danger = running.filter(outlook__late__gte=AT_RISK)
    return {
        "tiles": _tiles(states, running.filter(held_since__isnull=False).count(), danger.count()),
        "to_accept": cases.filter(state=Case.State.SIGNED).order_by("due_at")[:SHOWN],
        "to_release": cases.filter(state=Case.State.ACCEPTED, held_since__isnull=True).order_by("due_at")[:SHOWN],
        "danger": danger.order_by("-outlook__late", "due_at")[:SHOWN],
        "held": running.filter(held_since__isnull=False).order_by("held_since")[:SHOWN],
        "forecast_at": Forecast.objects.aggregate(at=Max("made_at"))["at"],
    }


def _tiles(states: dict[str, int], held: int, danger: int) -> list[dict[str, Any]]:
    cases = reverse("orders:cases")
    rows = [
        ("Waiting to be accepted", states.get("signed", 0), f"{cases}?state=signed"),
        ("Accepted, not on the floor", states.get("accepted", 0), f"{cases}?state=accepted"),
        ("On the floor", states.get("released", 0), f"{cases}?state=released"),
        ("At risk of being late", danger, "#danger"),
        ("On hold", held, "#held"),
    ]
    return [{"label": label, "number": number, "url": url} for label, number, url in rows]


def shipping(user: User) -> dict[str, Any]:
    """What is to be packed, what waits for the courier, what has left today."""
    today = day_start(timezone.now())
    packed = Delivery.objects.filter(state=Delivery.State.PACKED).select_related("case__practice")
    gone = Delivery.objects.filter(state=Delivery.State.SHIPPED, shipped_at__gte=today)
    return {
        "to_pack": shown(cases_for(user)).filter(state=Case.State.FINISHED).order_by("due_at")[:SHOWN],
        "packed": packed.order_by("case__due_at")[:SHOWN],
        "gone_today": gone.count(),
    }


def admin(user: User) -> dict[str, Any]:
    """Whether the service itself is well."""
    return {
        "roles": User.objects.filter(is_active=True).values_list("role").annotate(Count("pk")).order_by("role"),
        "dead": OutboxRow.objects.filter(state=OutboxRow.State.DEAD).order_by("-finished_at")[:SHOWN],
        "waiting": OutboxRow.objects.filter(state=OutboxRow.State.QUEUED, due_at__lte=timezone.now()).count(),
        "forecast_at": Forecast.objects.aggregate(at=Max("made_at"))["at"],
    }


def day_start(now: datetime) -> datetime:
    """Midnight of today in the laboratory's zone."""
    return timezone.localtime(now).replace(hour=0, minute=0, second=0, microsecond=0)


PAGES: dict[Role, Callable[[User], dict[str, Any]]] = {
    Role.PRACTICE: practice,
    Role.TECHNICIAN: technician,
    Role.MANAGER: manager,
    Role.SHIPPING: shipping,
    Role.ADMIN: admin,
}
