"""Conversations for programs: the same verbs as the pages."""

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework.decorators import api_view
from rest_framework.request import Request
from rest_framework.response import Response

from labqueue.base.api import person
from labqueue.base.errors import refuse
from orders.api import parsed
from orders.doors import case_for
from orders.models import Attachment, Case
from orders.talk import answer as answers
from orders.talk import ask_approval as designs
from orders.talk import write as notes
from orders.talk.approve import decide
from orders.talk.reads import message_of, talk_of
from orders.talk.serializers import DecisionIn, DesignIn, MessageOut, TextIn, figures_of


@extend_schema(operation_id="cases_messages", methods=["GET"], responses=MessageOut(many=True))
@extend_schema(operation_id="cases_write", methods=["POST"], request=TextIn, responses={201: MessageOut(many=True)})
@api_view(["GET", "POST"])
def messages(request: Request, number: str) -> Response:
    """Everything that was said about a case, the latest first; POST adds a note."""
    case = case_for(person(request), number)
    if request.method == "POST":
        notes.write(person(request), case, parsed(TextIn, request).validated_data["text"])
    return shown(request, case, 201 if request.method == "POST" else 200)


@extend_schema(operation_id="cases_answer", request=TextIn, responses={201: MessageOut(many=True)})
@api_view(["POST"])
def answer(request: Request, number: str, pk: int) -> Response:
    """Answer what was asked; the case goes on once nothing is open."""
    case = case_for(person(request), number)
    answers.answer(person(request), case, message_of(case, pk), parsed(TextIn, request).validated_data["text"])
    return shown(request, case, 201)


@extend_schema(operation_id="cases_ask_approval", request=DesignIn, responses={201: MessageOut(many=True)})
@api_view(["POST"])
def ask_approval(request: Request, number: str) -> Response:
    """Show a design; the case stands still until it is approved, or sent back."""
    case = case_for(person(request), number)
    said = parsed(DesignIn, request).validated_data
    file, figures = design_of(case, said["attachment"]), figures_of(said["figures"])
    designs.ask_approval(person(request), case, said["text"], file, said["line"], figures)
    return shown(request, case, 201)


@extend_schema(operation_id="cases_approve", request=DecisionIn, responses={201: MessageOut(many=True)})
@api_view(["POST"])
def approve(request: Request, number: str, pk: int) -> Response:
    """Approve a design under the own name, or say what is to be changed."""
    case = case_for(person(request), number)
    said = parsed(DecisionIn, request).validated_data
    decide(person(request), case, message_of(case, pk), said["decision"], said["text"])
    return shown(request, case, 201)


def design_of(case: Case, pk: int) -> Attachment:
    """A file of the case; whether it can be shown is asked by the verb. Raises Refusal where there is none."""
    found = case.attachments.filter(pk=pk).first()
    if found is None:
        raise refuse("attachment", f"{case} has no file of that number.", "attachment")
    return found


def shown(request: Request, case: Case, status: int = 200) -> Response:
    """The conversation for who asks."""
    lines: Any = talk_of(case, person(request)).lines
    return Response(MessageOut(lines, many=True).data, status=status)
