"""The interface of production for programs."""

from drf_spectacular.utils import extend_schema
from rest_framework import status
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from labqueue.base.api import person
from labqueue.production import reads
from labqueue.production.lots import use_lot
from labqueue.production.release import release
from labqueue.production.scan import scan
from labqueue.production.serializers import (
    FloorStationOut,
    LotIn,
    LotInUseOut,
    QueueLineOut,
    ScanIn,
    ScanOut,
    WorkItemOut,
)
from labqueue.production.stations import station_for
from labqueue.production.stop import stop
from orders.doors import case_for
from orders.reads import filled
from orders.serializers import CaseRow, Reason


class StationsView(APIView):
    """The stations of the laboratory."""

    @extend_schema(operation_id="stations", responses=FloorStationOut(many=True))
    def get(self, request: Request) -> Response:
        """All stations in their order, with their work in process."""
        return Response([FloorStationOut(load).data for load in reads.loads()])


class QueueView(APIView):
    """What is to be done at a station."""

    @extend_schema(operation_id="station_queue", responses=QueueLineOut(many=True))
    def get(self, request: Request, code: str) -> Response:
        """The pieces at the station: what can be worked on by due date, earliest first, then what is stopped."""
        return Response([QueueLineOut(line).data for line in reads.queue(station_for(code))])


class LotsView(APIView):
    """Lots in use at a station."""

    @extend_schema(operation_id="put_lot_into_use", request=LotIn, responses={201: LotInUseOut})
    def post(self, request: Request, code: str) -> Response:
        """Put a lot into use in place of the one before; what is made there from now on inherits it."""
        given = LotIn(data=request.data)
        given.is_valid(raise_exception=True)
        in_use = use_lot(person(request), station_for(code), **given.validated_data)
        return Response(LotInUseOut(in_use).data, status=status.HTTP_201_CREATED)


class ScansView(APIView):
    """Scans."""

    @extend_schema(operation_id="scan", request=ScanIn, responses={200: ScanOut, 201: ScanOut})
    def post(self, request: Request) -> Response:
        """Start or end the next step of a piece. 201 when it counted now, 200 when it was counted before."""
        given = ScanIn(data=request.data)
        given.is_valid(raise_exception=True)
        result = scan(person(request), **given.validated_data)
        return Response(ScanOut(result).data, status=200 if result.repeated else status.HTTP_201_CREATED)


class ReleaseView(APIView):
    """Releasing a case to the floor."""

    @extend_schema(operation_id="release", request=None, responses=WorkItemOut(many=True))
    def post(self, request: Request, number: str) -> Response:
        """Lay the case out as work items; after a change of its prescription, anew. They are answered."""
        case = case_for(person(request), number)
        release(person(request), case)
        return Response([WorkItemOut(item).data for item in reads.floor_of(case)])


class StopView(APIView):
    """Stopping a case that is being made."""

    @extend_schema(operation_id="stop", request=Reason, responses=CaseRow)
    def post(self, request: Request, number: str) -> Response:
        """Withdraw its pieces and cancel it; what was made of it is a message on the case."""
        given = Reason(data=request.data)
        given.is_valid(raise_exception=True)
        case = stop(person(request), case_for(person(request), number), given.validated_data["reason"])
        return Response(CaseRow(filled(case)).data)


class WorkItemsView(APIView):
    """The pieces of a case on the floor."""

    @extend_schema(operation_id="work_items", responses=WorkItemOut(many=True))
    def get(self, request: Request, number: str) -> Response:
        """The live pieces of the case with their steps; empty before it is released."""
        items = reads.floor_of(case_for(person(request), number))
        return Response([WorkItemOut(item).data for item in items])
