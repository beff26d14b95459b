"""The interface of planning for programs. All figures are estimates: shares and means of simulated futures."""

from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import generics, serializers, status
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from labqueue.base.api import person
from labqueue.base.errors import NotFound, refuse
from labqueue.planning import freshness, promise, reads
from labqueue.planning.models import Forecast, StationOutlook
from orders.doors import case_for
from orders.models import Outlook


class OutlookOut(serializers.Serializer[Outlook]):
    """One case: `late` is the estimated probability that it leaves the laboratory after `due_at`, as of `made_at`."""

    case = serializers.CharField(source="case.number")
    due_at = serializers.DateTimeField(source="case.due_at", allow_null=True)
    late = serializers.FloatField(allow_null=True)
    late_low = serializers.FloatField(allow_null=True, help_text="95 % interval of `late`, from the replications")
    late_high = serializers.FloatField(allow_null=True)
    p50 = serializers.DateTimeField(allow_null=True, help_text="Packed by then in half of all simulated futures")
    p80 = serializers.DateTimeField(allow_null=True)
    p95 = serializers.DateTimeField(allow_null=True)
    reason = serializers.CharField()
    made_at = serializers.DateTimeField(allow_null=True)


class ForecastOut(serializers.Serializer[Forecast]):
    """One simulation of the whole laboratory as it stood at `shop_at`; `version` is the last change that it knew of."""

    id = serializers.IntegerField()
    version = serializers.IntegerField()
    shop_at = serializers.DateTimeField()
    made_at = serializers.DateTimeField()
    replications = serializers.IntegerField()
    seed = serializers.IntegerField()
    seconds = serializers.FloatField()


class StationOut(serializers.Serializer[StationOutlook]):
    """One station: mean minutes of waiting per step, busy over open time, and the expected late cases of its making."""

    station = serializers.CharField(source="station.code")
    name = serializers.CharField(source="station.name")
    work_in_process = serializers.IntegerField()
    wait_minutes = serializers.FloatField(allow_null=True)
    utilisation = serializers.FloatField(allow_null=True)
    late_cases = serializers.FloatField()


class BottlenecksOut(serializers.Serializer[reads.Report]):
    """The report of the last forecast."""

    forecast = ForecastOut()
    sentence = serializers.CharField()
    cases = serializers.IntegerField()
    late_cases = serializers.FloatField()
    overdue = serializers.IntegerField(help_text="Of these, what is overdue already and belongs to no station")
    stations = StationOut(many=True, source="rows")


class AskedOut(serializers.Serializer[dict[str, str]]):
    """A forecast that was asked for; its result appears in the list of forecasts."""

    state = serializers.CharField(help_text="`queued`")


class OutlookView(APIView):
    """What is forecast of one case."""

    @extend_schema(operation_id="outlook", responses=OutlookOut)
    def get(self, request: Request, number: str) -> Response:
        """The last outlook with its age; without figures where there is none, and why."""
        return Response(OutlookOut(reads.outlook_of(case_for(person(request), number))).data)


class PromiseOut(serializers.Serializer[promise.Standing]):
    """The earliest appointment for a draft, by a simulation of the floor as it stood at `shop_at`; an estimate.

    `state` is `ready`, `queued` (ask again in some seconds) or `failed`.
    """

    state = serializers.CharField()
    usual_seat_from = serializers.DateField(source="usual.seat_from", help_text="By the usual working days.")
    seat_from = serializers.DateField(source="promise.seat_from", allow_null=True, default=None)
    p50 = serializers.DateTimeField(
        source="promise.p50", allow_null=True, default=None, help_text="Packed by then in half of all futures"
    )
    p80 = serializers.DateTimeField(source="promise.p80", allow_null=True, default=None)
    p95 = serializers.DateTimeField(source="promise.p95", allow_null=True, default=None)
    replications = serializers.IntegerField(source="promise.replications", allow_null=True, default=None)
    shop_at = serializers.DateTimeField(source="promise.shop_at", allow_null=True, default=None)
    reason = serializers.CharField(source="promise.reason", default="")


class PromiseView(APIView):
    """The earliest appointment for a draft."""

    @extend_schema(operation_id="promise", responses={200: PromiseOut, 202: PromiseOut})
    def get(self, request: Request, number: str) -> Response:
        """What is known of it; asked for where nobody has yet."""
        found = promise.standing(person(request), case_for(person(request), number), timezone.now())
        code = status.HTTP_202_ACCEPTED if found.state == "queued" else status.HTTP_200_OK
        return Response(PromiseOut(found).data, status=code)


class BottlenecksView(APIView):
    """Where work waits."""

    @extend_schema(operation_id="bottlenecks", responses=BottlenecksOut)
    def get(self, request: Request) -> Response:
        """The bottleneck report of the last forecast."""
        report = reads.report()
        if report is None:
            raise refuse("forecast", "There is no forecast yet. Ask for one: POST /api/v1/forecasts.", kind=NotFound)
        return Response(BottlenecksOut(report).data)


class ForecastsView(generics.ListAPIView[Forecast]):
    """Forecasts, the newest first."""

    queryset = Forecast.objects.all()
    serializer_class = ForecastOut

    @extend_schema(operation_id="ask_for_forecast", request=None, responses={202: AskedOut})
    def post(self, request: Request) -> Response:
        """Ask for a new forecast; asked for twice before it has begun, it is made once."""
        return Response(AskedOut({"state": freshness.ask().state}).data, status=status.HTTP_202_ACCEPTED)
