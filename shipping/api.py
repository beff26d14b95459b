"""The interface of shipping for programs."""

from typing import Any

from django.db.models import QuerySet
from django.http import FileResponse
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema, extend_schema_view
from rest_framework import status
from rest_framework.generics import ListAPIView
from rest_framework.renderers import BaseRenderer, JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from labqueue.base.api import person
from labqueue.base.errors import Conflict, refuse
from orders.doors import case_for
from shipping.dispatch import dispatch
from shipping.doors import invoices_for, paper_for, papers_of
from shipping.files import pdf_of
from shipping.models import Invoice
from shipping.packing import pack
from shipping.serializers import DeliveryOut, DispatchIn, InvoiceOut, PaperOut


class PackView(APIView):
    """Closing the box of a case."""

    @extend_schema(operation_id="pack", request=None, responses={201: DeliveryOut})
    def post(self, request: Request, number: str) -> Response:
        """Pack a finished case of which every piece was scanned at packing. Its slip is made by a worker."""
        delivery = pack(person(request), case_for(person(request), number))
        return Response(DeliveryOut(delivery).data, status=status.HTTP_201_CREATED)


class DispatchView(APIView):
    """Sending the box of a case away."""

    @extend_schema(operation_id="dispatch", request=DispatchIn, responses=DeliveryOut)
    def post(self, request: Request, number: str) -> Response:
        """Ship a packed case. Its invoice is issued with it, once; the paper is made by a worker."""
        case = case_for(person(request), number)
        given = DispatchIn(data=request.data)
        given.is_valid(raise_exception=True)
        return Response(DeliveryOut(dispatch(person(request), case, **given.validated_data)).data)


class PapersView(APIView):
    """The papers of a case."""

    @extend_schema(operation_id="papers", responses=PaperOut(many=True))
    def get(self, request: Request, number: str) -> Response:
        """The slip from packing on, the invoice from dispatch on."""
        papers = papers_of(case_for(person(request), number))
        return Response([PaperOut(paper).data for paper in papers])


class PaperView(APIView):
    """One paper."""

    @extend_schema(operation_id="paper", responses=PaperOut)
    def get(self, request: Request, paper_id: int) -> Response:
        """Whether it is ready, and where its PDF is."""
        return Response(PaperOut(paper_for(person(request), paper_id)).data)


class PaperFileView(APIView):
    """The PDF of one paper."""

    def perform_content_negotiation(self, request: Request, force: bool = False) -> tuple[BaseRenderer, str]:
        """Whatever is accepted, the answer is the PDF; refusals are JSON as everywhere."""
        return JSONRenderer(), "application/json"

    @extend_schema(operation_id="paper_file", responses={(200, "application/pdf"): OpenApiTypes.BINARY})
    def get(self, request: Request, paper_id: int) -> FileResponse:
        """The file. 409 while it is being made."""
        paper = paper_for(person(request), paper_id)
        if paper.given_up:
            why = f"{paper} could not be printed; the administrator has been told. Ask again later."
            raise refuse("given-up", why, "paper", kind=Conflict)
        if not paper.ready:
            raise refuse("making", f"{paper} is being made. Ask again in a moment.", "paper", kind=Conflict)
        return pdf_of(paper)


@extend_schema_view(get=extend_schema(operation_id="invoices"))
class InvoicesView(ListAPIView[Invoice]):
    """The invoices of one's own practice; all of them for the laboratory. Newest first."""

    serializer_class = InvoiceOut

    def get_queryset(self) -> "QuerySet[Invoice, Any]":
        """What the asking person may see."""
        return invoices_for(person(self.request))
