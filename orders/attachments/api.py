"""Files of a case for programs: the same verbs as the pages."""

from typing import Any

from django.http.response import HttpResponseBase
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.decorators import api_view, parser_classes
from rest_framework.parsers import MultiPartParser
from rest_framework.request import Request
from rest_framework.response import Response

from labqueue.base.api import person
from orders.api import parsed
from orders.attachments.hand_out import file_of
from orders.attachments.reads import file_for, files_of
from orders.attachments.receive import Role, receive
from orders.attachments.withdraw import withdraw
from orders.doors import case_for
from orders.models import Attachment


class FileIn(serializers.Serializer[Attachment]):
    """One file with what it shows, as a form of several parts."""

    role = serializers.CharField(help_text=", ".join(Role.values))
    file = serializers.FileField(allow_empty_file=True, help_text="STL, PLY, OBJ, JPEG, PNG or PDF.")
    no_face = serializers.BooleanField(default=False, help_text="The photo shows no full face.")
    consent = serializers.BooleanField(default=False, help_text="The patient agreed to a photo that may show the face.")


class FileOut(serializers.Serializer[Attachment]):
    """A file of a case. Its content can be had once its state is `ready`."""

    id = serializers.IntegerField()
    case = serializers.CharField(source="case.number")
    name = serializers.CharField(source="filename")
    role = serializers.CharField()
    type = serializers.CharField()
    size = serializers.IntegerField(help_text="Bytes.")
    sha256 = serializers.CharField(
        help_text="Of what is kept; photos are kept without what the camera wrote into them."
    )
    state = serializers.CharField(help_text="checking, ready or refused")
    progress = serializers.IntegerField(help_text="Per cent of the check.")
    reason = serializers.CharField(help_text="Why it was refused.")
    facts = serializers.DictField(help_text="Triangles and sides in millimetres, or width and height in pixels.")
    consent = serializers.BooleanField()
    from_laboratory = serializers.BooleanField(source="by.works_here")
    at = serializers.DateTimeField()


@extend_schema(methods=["GET"], operation_id="cases_files", responses=FileOut(many=True))
@extend_schema(
    methods=["POST"],
    operation_id="cases_add_file",
    request={"multipart/form-data": FileIn},
    responses={201: FileOut},
)
@api_view(["GET", "POST"])
@parser_classes([MultiPartParser])
def files(request: Request, number: str) -> Response:
    """The files of a case that are not withdrawn; POST takes one more in."""
    case = case_for(person(request), number)
    if request.method == "GET":
        there: Any = files_of(case)
        return Response(FileOut(there, many=True).data)
    sent: dict[str, Any] = parsed(FileIn, request).validated_data
    kept = receive(person(request), case, sent.pop("role"), sent.pop("file"), **sent)
    return Response(FileOut(kept).data, status=201)


@extend_schema(methods=["GET"], operation_id="files_read", responses=FileOut)
@extend_schema(methods=["DELETE"], operation_id="files_withdraw", responses={204: None})
@api_view(["GET", "DELETE"])
def file(request: Request, pk: int) -> Response:
    """One file; DELETE withdraws it."""
    found = file_for(person(request), pk)
    if request.method == "GET":
        return Response(FileOut(found).data)
    withdraw(person(request), found.case, found)
    return Response(status=204)


@extend_schema(operation_id="files_content", responses={(200, "application/octet-stream"): OpenApiTypes.BINARY})
@api_view(["GET"])
def content(request: Request, pk: int) -> HttpResponseBase:
    """What is in it."""
    return file_of(file_for(person(request), pk))
