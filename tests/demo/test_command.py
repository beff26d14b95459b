"""`manage.py demo`, on the very day on which this runs."""

from collections import Counter
from io import StringIO

import pytest
from django.core.management import CommandError, call_command
from django.utils import timezone

from labqueue.base.errors import Conflict
from labqueue.base.models import OutboxRow, Series
from labqueue.demo.load import load
from orders.models import OPEN_STATES, Case
from tests import cast

pytestmark = pytest.mark.django_db


@pytest.mark.once
def test_it_says_how_many_cases_there_are_now() -> None:
    out = StringIO()
    call_command("demo", stdout=out)
    assert out.getvalue() == f"The demonstration laboratory has {Case.objects.count()} cases.\n"
    states = Counter(Case.objects.values_list("state", flat=True))
    assert set(states) == set(Case.State.values)
    assert 100 <= sum(states[state] for state in OPEN_STATES) <= 190
    assert Case.objects.latest("created_at").created_at <= timezone.now()


@pytest.mark.parametrize("what", ["people", "number series", "work for a worker", "practices"])
def test_a_database_in_use_is_refused_and_left_as_it_is(what: str) -> None:
    if what == "people":
        cast.administrator()
    elif what == "practices":
        cast.practice()
    elif what == "number series":
        Series.objects.create(name="case/26")
    else:
        OutboxRow.objects.create(kind="forecast", subject="shop", due_at=timezone.now())
    with pytest.raises(Conflict, match=f"it holds {what}. The demonstration goes into an empty one"):
        load()
    with pytest.raises(CommandError, match="This database is in use"):
        call_command("demo")
    assert not Case.objects.exists()
