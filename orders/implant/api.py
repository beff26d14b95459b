"""The second person's look, for programs."""

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.generics import GenericAPIView
from rest_framework.request import Request
from rest_framework.response import Response

from labqueue.base.api import person
from orders import teeth
from orders.api import parsed
from orders.doors import case_for
from orders.implant.confirm import confirm
from orders.implant.reads import Piece, confirmed
from orders.models import Case, Confirmation


class ConfirmationIn(serializers.Serializer[Confirmation]):
    """What was read off label or scan body for one piece."""

    tooth = serializers.CharField(allow_blank=True)
    notation = serializers.CharField(allow_blank=True, default="", help_text="fdi, universal or palmer")
    kind = serializers.CharField(allow_blank=True, help_text="abutment or screw_crown")
    system = serializers.CharField(allow_blank=True)
    connection = serializers.CharField(allow_blank=True)
    platform = serializers.DecimalField(max_digits=6, decimal_places=3, allow_null=True, help_text="Millimetres.")
    level = serializers.CharField(allow_blank=True, default="", help_text="bone or tissue")
    read_off = serializers.CharField(source="source", allow_blank=True, help_text="scan_body, sticker or both")


class ImplantOut(serializers.Serializer[Any]):
    """A piece that meets the implant, and whether a second person has confirmed it. Context: `person`, who reads."""

    line = serializers.IntegerField(source="item.line")
    kind = serializers.CharField(source="item.kind")
    tooth_fdi = serializers.CharField(source="item.tooth")
    tooth_words = serializers.SerializerMethodField()
    confirmed_at = serializers.DateTimeField(source="confirmation.at", default=None, allow_null=True)
    confirmed_by = serializers.SerializerMethodField()
    read_off = serializers.CharField(source="confirmation.source", default="")

    def get_tooth_words(self, piece: Piece) -> str:
        """For people."""
        return teeth.words(piece.item.tooth)

    def get_confirmed_by(self, piece: Piece) -> str:
        """A practice does not see the names of people of the laboratory."""
        if piece.confirmation is None:
            return ""
        return piece.confirmation.by.shown_name if self.context["person"].works_here else "the laboratory"


class ImplantView(GenericAPIView[Case]):
    """What a second person confirms before a piece is released."""

    serializer_class = ImplantOut
    pagination_class = None

    @extend_schema(operation_id="cases_implant", responses=ImplantOut(many=True))
    def get(self, request: Request, number: str) -> Response:
        """All pieces that meet the implant."""
        return self.shown(request, case_for(person(request), number))

    @extend_schema(operation_id="cases_confirm_implant", request=ConfirmationIn, responses={201: ImplantOut(many=True)})
    def post(self, request: Request, number: str) -> Response:
        """Confirm one of them."""
        case = case_for(person(request), number)
        confirm(person(request), case, **parsed(ConfirmationIn, request).validated_data)
        return self.shown(request, case, status=201)

    def shown(self, request: Request, case: Case, status: int = 200) -> Response:
        """The pieces as JSON."""
        context = {"person": person(request)}
        return Response([ImplantOut(one, context=context).data for one in confirmed(case)], status=status)
