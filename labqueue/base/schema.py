"""The description of the interface (OpenAPI 3.1): each operation with the refusals that it can answer."""

from typing import Any

from drf_spectacular.authentication import SessionScheme
from drf_spectacular.extensions import OpenApiAuthenticationExtension
from drf_spectacular.openapi import AutoSchema

PROBLEM = {
    "type": "object",
    "description": "Problem details (RFC 9457).",
    "required": ["type", "title", "status", "detail", "errors"],
    "properties": {
        "type": {"type": "string"},
        "title": {"type": "string"},
        "status": {"type": "integer"},
        "detail": {"type": "string"},
        "errors": {
            "type": "array",
            "items": {
                "type": "object",
                "required": ["pointer", "code", "message"],
                "properties": {
                    "pointer": {"type": "string"},
                    "code": {"type": "string"},
                    "message": {"type": "string"},
                },
            },
        },
    },
}
REFUSALS = {
    "400": "The request cannot be read.",
    "401": "No valid sign-in.",
    "403": "Not allowed for this role.",
    "404": "No such thing, or not for this person.",
    "405": "No such method here.",
    "409": "The state does not allow it now.",
    "413": "More bytes than are taken here.",
    "415": "Not a body of the described media type.",
    "422": "Refused; each fault names its field and what would satisfy it.",
}


class BearerScheme(OpenApiAuthenticationExtension):  # type: ignore[no-untyped-call]
    """Describes our tokens."""

    target_class = "labqueue.base.api.BearerToken"
    name = "bearer"

    def get_security_definition(self, auto_schema: AutoSchema) -> dict[str, str]:
        """RFC 6750."""
        return {"type": "http", "scheme": "bearer"}


class BrowserScheme(SessionScheme):  # type: ignore[no-untyped-call]
    """Describes the session of a browser."""

    target_class = "labqueue.base.api.Session"


class HouseSchema(AutoSchema):
    """Groups operations by the first part of their path."""

    def get_tags(self) -> list[str]:
        """One tag: the resource."""
        return [self.path.removeprefix("/api/v1/").split("/")[0]]


def document_problems(result: dict[str, Any], generator: Any, request: Any, public: bool) -> dict[str, Any]:
    """Postprocessing hook: add the refusals to every operation."""
    result.setdefault("components", {}).setdefault("schemas", {})["Problem"] = PROBLEM
    content = {"application/problem+json": {"schema": {"$ref": "#/components/schemas/Problem"}}}
    for path in result["paths"].values():
        for operation in path.values():
            for status, text in REFUSALS.items():
                operation["responses"].setdefault(status, {"description": text, "content": content})
    return result
