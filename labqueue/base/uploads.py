"""Large bodies: who may send one, looked at before a byte of it is read, and how its file comes to the disk."""

import tempfile
from collections.abc import Callable
from typing import TYPE_CHECKING, Any, cast

from django.conf import settings
from django.core.files.uploadedfile import UploadedFile
from django.core.files.uploadhandler import FileUploadHandler
from django.http import HttpRequest, HttpResponse
from django.urls import Resolver404, resolve
from rest_framework.exceptions import AuthenticationFailed
from rest_framework.request import Request

from labqueue.base import problems
from labqueue.base.api import BearerToken
from labqueue.base.errors import TooLarge, refuse
from labqueue.base.models import User

if TYPE_CHECKING:
    BinaryFile = UploadedFile[bytes]
else:
    BinaryFile = UploadedFile


class Incoming(BinaryFile):
    """A file that is being sent. On the disk it has no name, so nothing of it is left should this process be killed.

    `too_large` says that it went on beyond what any file may have; then the rest of it is missing.
    """

    def __init__(self, name: str | None = None, content_type: str | None = None) -> None:
        super().__init__(tempfile.TemporaryFile(dir=settings.FILE_UPLOAD_TEMP_DIR), name, content_type, 0)  # noqa: SIM115
        self.too_large = False

    def add(self, data: bytes) -> None:
        """Take some more, or let it go where it is too much: who sends is told in words once everything is read."""
        if (self.size or 0) + len(data) > settings.UPLOAD_MAX_FILE:
            self.too_large = True
        if not self.too_large:
            self.write(data)
            self.size = (self.size or 0) + len(data)


class Capped(FileUploadHandler):
    """Django's way of taking a file in, whatever its size: to the disk, piece by piece."""

    incoming: Incoming | None = None

    def new_file(self, *args: Any, **kwargs: Any) -> None:
        """The head of a file was read."""
        super().new_file(*args, **kwargs)
        self.incoming = Incoming(self.file_name, self.content_type)

    def receive_data_chunk(self, raw_data: bytes, start: int) -> None:
        """Some of it was read."""
        assert self.incoming is not None
        self.incoming.add(raw_data)

    def file_complete(self, file_size: int) -> Incoming | None:
        """All of it was read."""
        assert self.incoming is not None
        self.incoming.seek(0)
        return self.incoming

    def upload_interrupted(self) -> None:
        """The sender has gone."""
        if self.incoming is not None:
            self.incoming.close()


class Door:
    """Middleware: a large body is read only at the addresses of files, and only from somebody."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        weight = body_size(request)
        if weight <= (settings.DATA_UPLOAD_MAX_MEMORY_SIZE or 0):
            return self.get_response(request)
        if weight <= settings.UPLOAD_MAX_BODY and takes_files(request) and is_somebody(request):
            return self.get_response(request)
        why = "This is too large. Files of a case may have up to 200 MB, from somebody who is signed in; all else 1 MB."
        return problems.refused(request, refuse("size", why, kind=TooLarge))


def body_size(request: HttpRequest) -> int:
    """What the sender says, in bytes. The server reads no further, and nothing where nothing is said."""
    try:
        return int(request.META.get("CONTENT_LENGTH") or 0)
    except ValueError:
        return 0


def takes_files(request: HttpRequest) -> bool:
    """Whether files can be sent to this address."""
    try:
        return request.method == "POST" and resolve(request.path_info).view_name in settings.UPLOAD_ADDRESSES
    except Resolver404:
        return False


def is_somebody(request: HttpRequest) -> bool:
    """Whether it comes from a person or a program that we know. What that one may do is asked later."""
    try:
        found = BearerToken().authenticate(cast(Request, request))
    except AuthenticationFailed:
        return False
    return found is not None or isinstance(request.user, User)
