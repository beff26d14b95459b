"""Addresses of the tests of this room: an interface that does little but fail in every way."""

from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.urls import path
from rest_framework import exceptions, generics, serializers
from rest_framework.permissions import IsAuthenticated
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from labqueue.base.api import person
from labqueue.base.errors import Conflict, Fault, Forbidden, NotFound, Refusal
from labqueue.base.models import ClosedDay

handler404 = "labqueue.guard.not_found"
handler500 = "labqueue.guard.crashed"

ERRORS: dict[str, Exception] = {
    "refusal": Refusal([Fault("tooth", "Give a tooth.", "items.0.tooth"), Fault("shade", "Give a shade.", "shade")]),
    "not-found": NotFound([Fault("case", "There is no case 7.")]),
    "forbidden": Forbidden([Fault("role", "Ask the manager.")]),
    "conflict": Conflict([Fault("state", "It is closed.")]),
    "http404": Http404("No Case matches the given query."),
    "throttled": exceptions.Throttled(wait=17),
    "detail-of-parts": exceptions.APIException({"part": "broken"}),
    "crash": RuntimeError("the inside of the house"),
}


class Open(APIView):
    """A view for everybody."""

    permission_classes = ()


class WhoAmI(APIView):
    """The sign-in of who asks."""

    permission_classes = (IsAuthenticated,)

    def get(self, request: Request) -> Response:
        return Response({"username": person(request).username})

    post = get


class Nobody(Open):
    """Asks for the person where nobody may be signed in."""

    def get(self, request: Request) -> Response:
        return Response({"username": person(request).username})


class Fail(Open):
    """Raises one of ERRORS."""

    def get(self, request: Request, name: str) -> Response:
        raise ERRORS[name]


class ItemSerializer(serializers.Serializer[Any]):
    """A part of an order."""

    tooth = serializers.IntegerField(min_value=1)
    notes = serializers.ListField(child=serializers.CharField(max_length=3), required=False)


class OrderSerializer(serializers.Serializer[Any]):
    """An order with nested parts and a rule over the whole."""

    reference = serializers.CharField(max_length=10)
    items = ItemSerializer(many=True)
    detail = serializers.IntegerField(required=False)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        if attrs["reference"] == "wrong":
            raise serializers.ValidationError("The order as a whole is wrong.", code="whole")
        return attrs


class Order(Open):
    """Reads an order."""

    def post(self, request: Request) -> Response:
        OrderSerializer(data=request.data).is_valid(raise_exception=True)
        return Response(status=201)


class DaySerializer(serializers.ModelSerializer[ClosedDay]):
    """A row of a list."""

    class Meta:
        model = ClosedDay
        fields = ["id"]


class Days(generics.ListAPIView[ClosedDay]):
    """A list in pages."""

    permission_classes = ()
    queryset = ClosedDay.objects.all()
    serializer_class = DaySerializer


def page(request: HttpRequest) -> HttpResponse:
    """Never reached: it stands in no table."""
    raise AssertionError


urlpatterns = [
    path("api/v1/me", WhoAmI.as_view()),
    path("api/v1/nobody", Nobody.as_view()),
    path("api/v1/fail/<name>", Fail.as_view()),
    path("api/v1/orders", Order.as_view()),
    path("api/v1/days", Days.as_view()),
    path("", page, name="home"),
    path("sign-in", page, name="sign-in"),
    path("sign-out", page, name="sign-out"),
]
