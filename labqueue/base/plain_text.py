"""Characters that no text has and the database cannot keep are refused at the door, whoever sends them."""

import re
from collections.abc import Callable, Iterator, Mapping
from typing import IO, Any

from django.http import HttpRequest, HttpResponse
from rest_framework.exceptions import ParseError
from rest_framework.parsers import JSONParser

from labqueue.base import problems
from labqueue.base.errors import Fault, Unreadable

# NUL, which PostgreSQL does not take, and halves of surrogate pairs, which UTF-8 does not know.
NO_TEXT = re.compile("[\0\ud800-\udfff]")


class PlainText:
    """Middleware: looks at the path, the query and the form. Bodies of JSON are looked at by `PlainJSON`."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        given = [("", request.path), *pairs(request)]
        faults = [fault(name) for name, text in given if NO_TEXT.search(name + text)]
        return problems.refused(request, Unreadable(faults)) if faults else self.get_response(request)


class PlainJSON(JSONParser):
    """JSON whose texts are plain text."""

    def parse(
        self, stream: IO[Any], media_type: str | None = None, parser_context: Mapping[str, Any] | None = None
    ) -> Any:
        """The body. Raises Unreadable naming every value that has such a character, and ParseError for no JSON."""
        try:
            data = super().parse(stream, media_type, parser_context)
            faults = [fault(path) for path, text in texts(data) if NO_TEXT.search(text)]
        except RecursionError as error:
            raise ParseError("The JSON is nested too deeply.") from error
        if faults:
            raise Unreadable(faults)
        return data


def pairs(request: HttpRequest) -> Iterator[tuple[str, str]]:
    """Names and texts of the query and of the form."""
    for given in (request.GET, request.POST):
        for name, values in given.lists():
            yield from ((name, value) for value in values if isinstance(value, str))


def texts(data: Any, path: str = "") -> Iterator[tuple[str, str]]:
    """Every text in a value of JSON with its path; names of members count as text of their object."""
    if isinstance(data, str):
        yield path, data
    elif isinstance(data, list):
        for index, value in enumerate(data):
            yield from texts(value, problems.join(path, str(index)))
    elif isinstance(data, dict):
        for name, value in data.items():
            yield path, name
            yield from texts(value, problems.join(path, name))


def fault(field: str) -> Fault:
    """What is wrong with one input."""
    what = "This text" if field else "The address or the request"
    return Fault("characters", f"{what} has a character that is no text (such as NUL). Leave it out.", clean(field))


def clean(name: str) -> str:
    """A name as it can be shown."""
    return NO_TEXT.sub("\N{REPLACEMENT CHARACTER}", name)
