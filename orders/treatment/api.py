"""Treatments for programs: the same verbs as the pages."""

from typing import Any

from django.utils import timezone
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.decorators import api_view
from rest_framework.request import Request
from rest_framework.response import Response

from labqueue.base.api import OffsetDateTimeField, person
from orders import reads
from orders.api import parsed
from orders.doors import case_for, own_case
from orders.models import Case, Evaluation
from orders.models.treatment import JUDGED
from orders.order_serializers import CaseIn
from orders.serializers import Millimetres
from orders.treatment.carry import facts_from
from orders.treatment.evaluate import EvaluationFacts, evaluate
from orders.treatment.plan import plan as keep_plan
from orders.treatment.reads import treatment_of


class EvaluationIn(serializers.Serializer[Evaluation]):
    """What was found in the mouth."""

    decision = serializers.CharField(allow_blank=True, help_text="final, reshape or wait")
    happy = serializers.BooleanField(allow_null=True, default=None)
    facial = serializers.CharField(default="ok", help_text="ok, too_high or too_low")
    facial_mm = serializers.DecimalField(max_digits=8, decimal_places=4, allow_null=True, default=None)
    judged = serializers.DictField(
        child=serializers.CharField(allow_blank=True),
        default=dict,
        help_text=f"ok or change for any of {', '.join(JUDGED)}; what is left out is as it should be.",
    )
    changes = serializers.CharField(allow_blank=True, default="")
    words = serializers.CharField(allow_blank=True, default="", help_text="The patient's word.")


class EvaluationOut(serializers.Serializer[Evaluation]):
    """One look at a provisional."""

    facial = serializers.CharField()
    facial_mm = Millimetres(read_only=True, allow_null=True)
    judged = serializers.SerializerMethodField()
    changes = serializers.CharField()
    happy = serializers.BooleanField()
    words = serializers.CharField()
    decision = serializers.CharField()
    by = serializers.CharField(source="by.shown_name")
    at = serializers.DateTimeField()

    def get_judged(self, found: Evaluation) -> dict[str, str]:
        """A verdict for each part."""
        return {name: getattr(found, name) for name in JUDGED}


class PlanIn(serializers.Serializer[Case]):
    """When the final is to be seated."""

    final_seat_at = OffsetDateTimeField(allow_null=True, help_text="With its offset; null takes the plan back.")


class AppointmentOut(serializers.Serializer[Any]):
    """One of the two appointments with the last days for scan or impression, and the first day that can be had."""

    stage = serializers.CharField()
    seat_at = serializers.DateTimeField(allow_null=True)
    scan_by = serializers.DateField(allow_null=True, help_text="Sent before noon.")
    impression_by = serializers.DateField(allow_null=True, help_text="Handed to the courier.")
    seat_from = serializers.DateField(help_text="By the usual working days.")


class TreatmentOut(serializers.Serializer[Any]):
    """What belongs together, seen from one case."""

    origin = serializers.CharField(source="case.origin.number", default=None, allow_null=True)
    relation = serializers.CharField(source="case.relation")
    later = serializers.SerializerMethodField()
    appointments = AppointmentOut(many=True)
    final_seat_at = serializers.DateTimeField(source="case.final_seat_at", allow_null=True)
    evaluation_due_since = serializers.DateTimeField(source="asked_since", allow_null=True)
    evaluations = EvaluationOut(many=True)

    def get_later(self, found: Any) -> list[str]:
        """The numbers of the cases that follow it."""
        return [case.number for case in found.later]


@extend_schema(operation_id="cases_treatment", responses=TreatmentOut)
@api_view(["GET"])
def treatment(request: Request, number: str) -> Response:
    """The treatment that a case belongs to."""
    return shown(request, reads.full_case(person(request), number))


@extend_schema(operation_id="cases_plan", request=PlanIn, responses=TreatmentOut)
@api_view(["POST"])
def plan(request: Request, number: str) -> Response:
    """Plan the final of a provisional."""
    case = reads.full_case(person(request), number)
    return shown(request, keep_plan(person(request), case, parsed(PlanIn, request).validated_data["final_seat_at"]))


@extend_schema(operation_id="cases_evaluate", request=EvaluationIn, responses={201: EvaluationOut})
@api_view(["POST"])
def evaluations(request: Request, number: str) -> Response:
    """Keep what was found in the mouth."""
    facts = EvaluationFacts(**parsed(EvaluationIn, request).validated_data)
    found = evaluate(person(request), case_for(person(request), number), facts)
    return Response(EvaluationOut(found).data, status=201)


@extend_schema(
    operation_id="cases_carry",
    parameters=[OpenApiParameter("relation", required=True, description="final, remake, adjustment or like")],
    responses=CaseIn,
)
@api_view(["GET"])
def carry(request: Request, number: str) -> Response:
    """What a new order that follows this case begins with, as it is sent to open one."""
    case = reads.full_case(person(request), number)
    own_case(person(request), case)
    facts: Any = facts_from(case, request.query_params.get("relation", ""))
    return Response(CaseIn(facts).data)


def shown(request: Request, case: Case) -> Response:
    """The treatment as JSON, for who asks."""
    return Response(TreatmentOut(treatment_of(case, person(request), timezone.now())).data)
