"""The first page of a person, read as text, and what forecasts leave for it."""

import re
from datetime import timedelta

from django.test import Client
from django.utils import timezone

from labqueue.base.models import User
from labqueue.base.roles import Role
from labqueue.planning.models import Forecast
from orders import outlook
from orders.models import Case, Outlook
from tests import cast

PEOPLE = {
    Role.PRACTICE: cast.prescriber,
    Role.TECHNICIAN: cast.technician,
    Role.MANAGER: cast.manager,
    Role.SHIPPING: cast.shipper,
    Role.ADMIN: cast.administrator,
}


def browser(user: User) -> Client:
    """A browser in which that person is signed in."""
    found = Client()
    found.force_login(user)
    return found


def page(user: User) -> str:
    """The first page of that person."""
    answer = browser(user).get("/")
    assert answer.status_code == 200
    return answer.content.decode()


def part(html: str, heading: str) -> str:
    """The section under a heading, as text with single spaces; empty where there is none."""
    found = re.search(rf"<section[^>]*aria-labelledby=\"{heading}\".*?</section>", html, re.DOTALL)
    return text(found[0]) if found else ""


def text(html: str) -> str:
    """Without tags."""
    return " ".join(re.sub(r"<[^>]*>", " ", html).split())


def foresee(case: Case, late: float) -> Case:
    """A forecast of the case."""
    outlook.record([Outlook(case=case, late=late, late_low=late, late_high=late, made_at=timezone.now())])
    return case


def forecast(age: timedelta) -> None:
    """A forecast that looked at the floor so long ago, and was done just now."""
    now = timezone.now()
    Forecast.objects.create(version=1, shop_at=now - age, made_at=now, replications=10, seed=1, seconds=1)
