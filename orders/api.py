"""Orders for programs: the same verbs as the pages."""

from collections.abc import Callable
from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework.decorators import api_view
from rest_framework.generics import GenericAPIView
from rest_framework.request import Request
from rest_framework.response import Response

from labqueue.base.api import person
from labqueue.base.models import User
from orders import acceptance, hold, intake, reads, signoff
from orders.cancel import cancel as cancel_case
from orders.day import search
from orders.day.search_serializers import SearchIn
from orders.doors import case_for
from orders.models import Case
from orders.order_serializers import CaseIn, PrescriptionIn, SignIn
from orders.serializers import CaseOut, CaseRow, Reason

Verb = Callable[[User, Case], object]


class Cases(GenericAPIView[Case]):
    """The cases that the person may see."""

    serializer_class = CaseRow

    @extend_schema(operation_id="cases_list", parameters=[SearchIn], responses=CaseRow(many=True))
    def get(self, request: Request) -> Response:
        """Those of which all is true that is asked, newest first, one page."""
        asked = SearchIn(data=request.query_params)
        asked.is_valid(raise_exception=True)
        page = self.paginate_queryset(search.found(person(request), asked.wanted()))
        return self.get_paginated_response(CaseRow(page, many=True).data)

    @extend_schema(operation_id="cases_open", request=CaseIn, responses={201: CaseOut})
    def post(self, request: Request) -> Response:
        """Open a case with its draft."""
        case = intake.open_case(person(request), **parsed(CaseIn, request).facts())
        return shown(request, case, status=201)


@extend_schema(operation_id="cases_read", responses=CaseOut)
@api_view(["GET"])
def case(request: Request, number: str) -> Response:
    """One case."""
    return shown(request, case_for(person(request), number))


@extend_schema(operation_id="cases_prescribe", request=PrescriptionIn, responses=CaseOut)
@api_view(["PUT"])
def prescription(request: Request, number: str) -> Response:
    """Put other facts into the draft."""
    facts = parsed(PrescriptionIn, request).facts()
    return after(request, number, lambda actor, found: intake.edit_draft(actor, found, **facts))


@extend_schema(operation_id="cases_sign", request=SignIn, responses=CaseOut)
@api_view(["POST"])
def sign(request: Request, number: str) -> Response:
    """Sign the draft. What is unusual about it needs a reason; what is missing lets the case stand still."""
    facts = parsed(SignIn, request).facts()
    return after(request, number, lambda actor, found: signoff.sign(actor, found, **facts))


@extend_schema(operation_id="cases_amend", request=None, responses=CaseOut)
@api_view(["POST"])
def amend(request: Request, number: str) -> Response:
    """Begin a change of the signed prescription."""
    return after(request, number, signoff.amend)


@extend_schema(operation_id="cases_discard", request=None, responses=CaseOut)
@api_view(["POST"])
def discard(request: Request, number: str) -> Response:
    """Drop a change that was begun."""
    return after(request, number, signoff.discard)


@extend_schema(operation_id="cases_cancel", request=Reason, responses=CaseOut)
@api_view(["POST"])
def cancel(request: Request, number: str) -> Response:
    """Cancel the case for good. What was signed needs a reason."""
    reason = parsed(Reason, request).validated_data["reason"]
    return after(request, number, lambda actor, found: cancel_case(actor, found, reason))


@extend_schema(operation_id="cases_accept", request=None, responses=CaseOut)
@api_view(["POST"])
def accept(request: Request, number: str) -> Response:
    """Take the case on."""
    return after(request, number, acceptance.accept)


@extend_schema(operation_id="cases_hold", request=Reason, responses=CaseOut)
@api_view(["POST"])
def put_on_hold(request: Request, number: str) -> Response:
    """Stop the case until the practice has answered."""
    reason = parsed(Reason, request).validated_data["reason"]
    return after(request, number, lambda actor, found: hold.hold(actor, found, reason))


@extend_schema(operation_id="cases_resume", request=None, responses=CaseOut)
@api_view(["POST"])
def resume(request: Request, number: str) -> Response:
    """Let a held case go on."""
    return after(request, number, hold.resume)


def parsed(serializer: type[Any], request: Request) -> Any:
    """The body, read. Raises DRF's ValidationError where it has not the described form."""
    body = serializer(data=request.data)
    body.is_valid(raise_exception=True)
    return body


def after(request: Request, number: str, verb: Verb) -> Response:
    """The case as it is once the verb has been done."""
    found = case_for(person(request), number)
    verb(person(request), found)
    return shown(request, found)


def shown(request: Request, found: Case, status: int = 200) -> Response:
    """The case for who asks."""
    return Response(CaseOut(reads.filled(found), context={"person": person(request)}).data, status=status)
