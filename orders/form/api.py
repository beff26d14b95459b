"""The check of an order for programs: the same examination, nothing is written."""

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.decorators import api_view
from rest_framework.request import Request
from rest_framework.response import Response

from labqueue.base.api import person
from orders import due
from orders.api import parsed
from orders.check import examine
from orders.doors import member_of
from orders.facts import OrderFacts
from orders.findings import Finding, Severity
from orders.form.checked import promise_of
from orders.intake import foreign_practice, tidied
from orders.order_serializers import CaseIn
from orders.serializers import FindingOut


class CheckedOut(serializers.Serializer[Any]):
    """An order as it would be taken now."""

    findings = FindingOut(many=True)
    due_at = serializers.DateTimeField(allow_null=True, help_text="When the case would leave the laboratory.")
    seat_from = serializers.DateField(allow_null=True, help_text="By the usual working days.")
    conflict = serializers.CharField()


@extend_schema(operation_id="orders_check", request=CaseIn, responses=CheckedOut)
@api_view(["POST"])
def checks(request: Request) -> Response:
    """Everything that is to be said of an order. It is not kept."""
    practice = member_of(person(request)).practice
    facts = parsed(CaseIn, request).facts()
    wrong = foreign_practice(facts.pop("practice"), practice)
    foreign = [Finding(one.code, Severity.REFUSE, one.field, one.message) for one in wrong]
    order = tidied(OrderFacts(**facts))
    examined = examine(order, practice)
    promise = promise_of(due.way_to(practice), order, examined)
    said = {name: getattr(promise, name, None) for name in ("due_at", "seat_from")}
    body = {"findings": [*foreign, *examined.findings], **said, "conflict": promise.conflict if promise else ""}
    return Response(CheckedOut(body).data)
