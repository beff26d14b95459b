"""The first page of each role: that person's work of today. And the way to everything else."""

from collections.abc import Callable, Iterable
from datetime import datetime
from typing import Any

from django.db.models import Count, F, Max, Q, QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_safe

from labqueue.access import may_open
from labqueue.base.models import OutboxRow, User
from labqueue.base.roles import Role
from labqueue.planning.floor import FORECAST_STATES
from labqueue.planning.models import Forecast
from labqueue.production import reads
from labqueue.production.models import WorkItem
from labqueue.production.release import ON_THE_FLOOR
from orders.doors import cases_for
from orders.implant.reads import to_confirm
from orders.lifecycle import CHANGEABLE
from orders.models import OPEN_STATES, Case
from orders.talk.reads import to_call
from orders.treatment.evaluate import to_evaluate
from shipping.models import Delivery

# Shares of the probability to be late from which a case is listed for the manager.
AT_RISK = 0.25
SHOWN = 12
# Evaluations that are asked for at once.
ASKED = 5
SIGNABLE = CHANGEABLE | {Case.State.DRAFT}

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


def navigation(request: HttpRequest) -> dict[str, Any]:
    """Context of every page: the ways that this person's role may go, and on which of them the page lies."""
    user = getattr(request, "user", None)
    if not isinstance(user, User):
        return {}
    ways = {reverse(name): label for name, label in WAYS if may_open(user, name)}
    here = current_way(ways, request.path)
    return {"navigation": [{"url": url, "label": label, "current": url == here} for url, label in ways.items()]}


def current_way(ways: Iterable[str], path: str) -> str:
    """The way on which an address lies: the longest that is the address or stands above it. Empty for none."""
    return max((way for way in ways if path == way or path.startswith(f"{way}/")), key=len, default="")


@require_safe
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
    """What waits for the practice, what comes next, what was sent to it."""
    mine = shown(cases_for(user))
    running = mine.filter(state__in=OPEN_STATES)
    return {
        # New orders, and changes of those that can still be changed; a case has one draft at most.
        "drafts": mine.filter(state__in=SIGNABLE, prescriptions__signed_at__isnull=True)[:SHOWN],
        "held": running.filter(held_since__isnull=False).order_by("held_since")[:SHOWN],
        "to_evaluate": to_evaluate(timezone.now()).filter(practice__members__user=user)[:ASKED],
        "coming": running.order_by(F("seat_at").asc(nulls_last=True), "due_at")[:SHOWN],
        "open_count": mine.filter(state__in=OPEN_STATES | {Case.State.DRAFT}).count(),
        "sent": mine.filter(state=Case.State.SHIPPED).order_by("-shipped_at")[:5],
    }


def technician(user: User) -> dict[str, Any]:
    """What is in this person's hands, what waits at each bench, what leaves next."""
    urgent = shown(cases_for(user)).filter(state=Case.State.RELEASED, held_since__isnull=True)
    second = shown(to_confirm().exclude(accepted_by=user))
    return {
        "mine": reads.in_work_of(user),
        "to_confirm": second.order_by("due_at")[:SHOWN],
        "tiles": [_bench(load) for load in reads.loads()],
        "urgent": urgent.order_by("due_at")[:SHOWN],
    }


def _bench(load: reads.Load) -> dict[str, Any]:
    url = reverse("production:bench", args=[load.station.code])
    note = f"{load.running} in work" if load.running else ""
    return {"label": load.station.name, "number": load.waiting, "unit": "waiting", "url": url, "note": note}


def manager(user: User) -> dict[str, Any]:
    """Exceptions: what is to be decided, what is in danger, what stands still."""
    cases, now = shown(cases_for(user)), timezone.now()
    running, free = cases.filter(state__in=OPEN_STATES), cases.filter(held_since__isnull=True)
    held, danger = running.filter(held_since__isnull=False), running.filter(in_danger(now))
    states = dict(cases_for(user).values_list("state").annotate(Count("pk")).order_by())
    return {
        "tiles": _tiles(states, held.count(), danger.count()),
        "danger": danger.order_by(F("outlook__late").desc(nulls_last=True), "due_at")[:SHOWN],
        "to_accept": free.filter(state=Case.State.SIGNED).order_by("due_at")[:SHOWN],
        "to_release": free.filter(state=Case.State.ACCEPTED).order_by("due_at")[:SHOWN],
        "changed": free.filter(state__in=ON_THE_FLOOR, pk__in=changed().values("case")).order_by("due_at")[:SHOWN],
        "to_call": to_call(now).order_by(F("case__seat_at").asc(nulls_last=True), "at", "pk")[:SHOWN],
        "held": held.order_by("held_since")[:SHOWN],
        "forecast_at": last_forecast(),
    }


def changed() -> QuerySet[WorkItem]:
    """Pieces of which a newer prescription was signed: the bench waits until the new version is released."""
    return WorkItem.objects.exclude(state=WorkItem.State.WITHDRAWN).exclude(prescription=F("case__current"))


def in_danger(now: datetime) -> Q:
    """Late already, or likely enough to be. What is packed has no forecast any more; it only waits for the courier."""
    return Q(due_at__lt=now) | Q(outlook__late__gte=AT_RISK, state__in=FORECAST_STATES)


def last_forecast() -> datetime | None:
    """As of when the risks are estimated: the moment at which the last forecast looked at the floor."""
    at: datetime | None = Forecast.objects.aggregate(at=Max("shop_at"))["at"]
    return at


def _tiles(states: dict[str, int], held: int, danger: int) -> list[dict[str, Any]]:
    cases = reverse("orders:cases")
    rows = [
        ("Waiting to be accepted", states.get("signed", 0), f"{cases}?state=signed"),
        ("Accepted, not on the floor", states.get("accepted", 0), f"{cases}?state=accepted"),
        ("On the floor", states.get("released", 0), f"{cases}?state=released"),
        ("Late or at risk", danger, "#danger"),
        ("On hold", held, "#held"),
    ]
    return [{"label": label, "number": number, "url": url} for label, number, url in rows]


def shipping(user: User) -> dict[str, Any]:
    """What is to be packed, what waits for the courier, what has left today."""
    today = day_start(timezone.now())
    free = shown(cases_for(user)).filter(held_since__isnull=True)
    packed = Delivery.objects.filter(state=Delivery.State.PACKED).select_related("case__practice")
    gone = Delivery.objects.filter(state=Delivery.State.SHIPPED, shipped_at__gte=today)
    return {
        "to_pack": free.filter(state=Case.State.FINISHED).order_by("due_at")[:SHOWN],
        "packed": packed.order_by("case__due_at")[:SHOWN],
        "gone_today": gone.count(),
    }


def admin(user: User) -> dict[str, Any]:
    """Whether the service itself is well."""
    roles = User.objects.filter(is_active=True).values_list("role").annotate(Count("pk")).order_by("role")
    return {
        "roles": [(Role(role).label, count) for role, count in roles],
        "dead": OutboxRow.objects.filter(state=OutboxRow.State.DEAD).order_by("-finished_at")[:SHOWN],
        "waiting": OutboxRow.objects.filter(state=OutboxRow.State.QUEUED, due_at__lte=timezone.now()).count(),
        "forecast_at": last_forecast(),
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
