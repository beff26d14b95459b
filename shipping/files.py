"""Handing out stored papers."""

from django.http import FileResponse

from labqueue.base import files
from shipping.models import Paper


def pdf_of(paper: Paper) -> FileResponse:
    """The stored file, to be saved under a name that says nothing of the patient."""
    file = files.open_file(paper.file)
    response = FileResponse(file, content_type="application/pdf", as_attachment=True, filename=paper.filename)
    response.headers["X-Content-Type-Options"] = "nosniff"
    return response
