"""One version of a prescription, whole, as it was signed: for people and for programs."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.decorators import api_view
from rest_framework.request import Request
from rest_framework.response import Response

from labqueue.base.api import person
from labqueue.base.errors import NotFound, refuse
from labqueue.base.models import User
from orders import reads, seal
from orders.models import Case, Prescription
from orders.pages import who
from orders.serializers import PrescriptionOut
from orders.versions import differences, said, text_of


class VersionOut(PrescriptionOut):
    """One version with its differences to the one before, and whether it still is what was signed."""

    sealed = serializers.SerializerMethodField(help_text="Whether the hash of what is stored is that of the signature.")
    differences = serializers.SerializerMethodField(help_text="To the version before, in words.")

    def get_sealed(self, version: Prescription) -> bool:
        """Recomputed now."""
        return is_as_signed(version)

    def get_differences(self, version: Prescription) -> list[str]:
        """None for the first version."""
        return changes(self.context["before"], version)


def version_of(user: User, number: str, version: int) -> tuple[Case, Prescription, Prescription | None]:
    """The case through its door, that signed version of it, and the one before. Raises NotFound."""
    case = reads.full_case(user, number)
    signed = {one.version: one for one in case.prescriptions.all() if one.signed_at}
    if version not in signed:
        raise refuse("version", f"{case} has no signed version {version}.", "version", NotFound)
    return case, signed[version], signed.get(version - 1)


def is_as_signed(version: Prescription) -> bool:
    """Whether what is stored still has the hash that the signature was put on."""
    return seal.seal(version.case, version) == version.hash


def changes(old: Prescription | None, new: Prescription) -> list[str]:
    """The differences in words; none where there is nothing before."""
    return differences(old, new, new.case.practice) if old else []


@require_GET
def version(request: HttpRequest, number: str, version: int) -> HttpResponse:
    """The page of a version."""
    case, found, before = version_of(who(request), number, version)
    current = next((one for one in case.prescriptions.all() if one.pk == case.current_id), None)
    context = {
        "case": case,
        "version": found,
        "as_signed": is_as_signed(found),
        "order": said(found, seal.ORDER_FIELDS),
        "pieces": text_of(found),
        "before": before,
        "changes": changes(before, found),
        "current": current,
        "since": changes(found, current) if current and current.pk != found.pk else [],
    }
    return render(request, "orders/version.html", context)


@extend_schema(operation_id="cases_version", responses=VersionOut)
@api_view(["GET"])
def version_program(request: Request, number: str, version: int) -> Response:
    """One signed version, whole."""
    _, found, before = version_of(person(request), number, version)
    return Response(VersionOut(found, context={"before": before}).data)
