"""One shape for everything that is refused, on pages, in the interface for programs and in tasks."""

from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True)
class Fault:
    """One reason. `field` names the input as a path (`items.0.material`), empty where the whole request is meant."""

    code: str
    message: str
    field: str = ""

    @property
    def pointer(self) -> str:
        """The field as a JSON Pointer (RFC 6901)."""
        path = self.field.replace("~", "~0").replace("/", "~1").replace(".", "/")
        return f"/{path}" if path else ""


class Refusal(Exception):
    """What was asked for is not done, and nothing was written. Every message says what would satisfy it."""

    status = 422
    title = "Refused"

    def __init__(self, faults: Iterable[Fault]) -> None:
        self.faults = tuple(faults)
        super().__init__(" ".join(fault.message for fault in self.faults))


class Unreadable(Refusal):
    """What was sent is no text, so it means nothing to anybody."""

    status = 400
    title = "Bad Request"


class NotFound(Refusal):
    """There is no such thing, or not for this person: both look the same."""

    status = 404
    title = "Not found"


class Forbidden(Refusal):
    """This person may see it, but not do this."""

    status = 403
    title = "Not allowed"


class Conflict(Refusal):
    """It was possible once, or for somebody else: the state does not allow it now."""

    status = 409
    title = "Not possible now"


class TooLarge(Refusal):
    """It is more than is taken here; the body was not read."""

    status = 413
    title = "Too large"


def refuse(code: str, message: str, field: str = "", kind: type[Refusal] = Refusal) -> Refusal:
    """A refusal with one fault, to be raised: `raise refuse("tooth", "…", field="tooth")`."""
    return kind([Fault(code, message, field)])
