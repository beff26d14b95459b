"""Handing out files that people sent: only to be saved, never to be run or shown by the browser as a page."""

from django.http import FileResponse

from labqueue.base import files
from labqueue.base.errors import Conflict, NotFound, refuse
from labqueue.base.headers import SANDBOX
from orders.attachments.reads import State
from orders.models import Attachment

CONTENT_TYPES = {
    "stl": "model/stl",
    "obj": "model/obj",
    "ply": "application/octet-stream",
    "jpeg": "image/jpeg",
    "png": "image/png",
    "pdf": "application/pdf",
}


def file_of(attachment: Attachment) -> FileResponse:
    """The file under our own name. Raises Conflict before it was looked at, NotFound where it was refused."""
    if attachment.state == State.CHECKING:
        why = f"{attachment} is still being checked. It can be had in a moment."
        raise refuse("state", why, kind=Conflict)
    if attachment.state == State.REFUSED:
        raise refuse("file", f"{attachment} was refused: {attachment.reason}", field="file", kind=NotFound)
    return handed_out(attachment.file, CONTENT_TYPES[attachment.type], attachment.filename)


def picture_of(attachment: Attachment) -> FileResponse:
    """The picture, to be shown in a page. Raises NotFound where there is none."""
    if not attachment.preview:
        raise refuse("preview", f"There is no picture of {attachment}.", kind=NotFound)
    return handed_out(attachment.preview, CONTENT_TYPES[attachment.preview.rpartition(".")[2]])


def handed_out(name: str, content_type: str, save_as: str = "") -> FileResponse:
    """A file of the store. Nothing guesses what it is, and nobody keeps it on the way."""
    found = files.open_file(name)
    answer = FileResponse(found, content_type=content_type, as_attachment=bool(save_as), filename=save_as)
    answer.headers["X-Content-Type-Options"] = "nosniff"
    answer.headers["Content-Security-Policy"] = SANDBOX
    answer.headers["Cache-Control"] = "no-store"
    return answer
