"""The form's check and the interface's say the same of any order, and write nothing."""

import json
from typing import Any

import pytest
from django.test import Client
from hypothesis import HealthCheck, event, given, settings

from orders.check import examine
from orders.facts import OrderFacts
from orders.findings import REASONED, Finding, Severity
from orders.form.sheet import OrderSheet
from orders.intake import tidied
from orders.models import Case
from orders.order_serializers import CaseIn
from tests import cast
from tests.orders.form.test_form_and_interface import as_form, orders
from tests.orders.test_api import Program

pytestmark = [pytest.mark.django_db, pytest.mark.once]
FIXTURES = [HealthCheck.function_scoped_fixture]


def by_interface(order: dict[str, Any]) -> list[Finding] | None:
    """What is found in the body; None where it has not the described form."""
    body = CaseIn(data=order)
    if not body.is_valid():
        return None
    facts = body.facts()
    facts.pop("practice")
    return examine(tidied(OrderFacts(**facts)), cast.practice()).findings


def by_form(client: Client, order: dict[str, Any]) -> list[Finding] | None:
    """What is found in the order as the form sends it; None where it cannot be read."""
    request = client.post("/cases/check", as_form(order)).wsgi_request
    sheet = OrderSheet(cast.practice(), request.POST)
    return examine(tidied(OrderFacts(**sheet.facts())), cast.practice()).findings if sheet.is_valid() else None


@settings(max_examples=150, deadline=None, suppress_health_check=FIXTURES)
@given(order=orders())
def test_the_same_is_found(order: dict[str, Any], client: Client) -> None:
    """Where one of both cannot read an order, the other refuses it."""
    client.force_login(cast.assistant())
    of_form, of_body = by_form(client, order), by_interface(order)
    if of_form is not None and of_body is not None:
        event("compared")
        assert of_form == of_body
        return
    event("not read")
    for found in (of_form, of_body):
        assert found is None or Severity.REFUSE in {one.severity for one in found}


@settings(max_examples=40, deadline=None, suppress_health_check=FIXTURES)
@given(order=orders())
def test_the_same_is_said(order: dict[str, Any], client: Client) -> None:
    """Page and answer, by what they do, and the date by the usual days."""
    person = cast.assistant()
    client.force_login(person)
    page = client.post("/cases/check", as_form(order))
    answer = Program(person).post("/api/v1/checks", json.dumps(order), content_type="application/json")
    assert not Case.objects.exists()
    checked = page.context["checked"]
    if checked.unread or answer.status_code != 200:
        assert answer.status_code == 400 or "refuse" in {one["severity"] for one in answer.json()["findings"]}
        assert checked.unread or checked.refused
        return
    found = answer.json()["findings"]
    for severity, said in {"refuse": checked.refused, "hold": checked.holds, "ask": checked.left}.items():
        sentences = {one["sentence"] for one in found if one["severity"] == severity}
        assert {sentence for sentence in sentences if not any(sentence in text for text in said)} == set()
        assert bool(sentences) == bool(said)
    asked = {one["rule"] for one in found if one["severity"] in REASONED}
    assert asked == {one.name.split("-")[1] for one in checked.wanted}
    assert answer.json()["seat_from"] == (checked.promise.seat_from.isoformat() if checked.promise else None)
