"""A mesh from the laboratory's design station to the mill: sent, looked at, shown as a picture, approved, milled."""

from pathlib import Path

import pytest
from pytest_django import Settings

from tests import cast
from tests.orders.attachments.build import looked_at, sent, stl
from tests.orders.talk.build import approver
from tests.orders.test_case_pages import browser, text
from tests.production.build import piece, released_case, scan_through

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def store(settings: Settings, tmp_path: Path) -> None:
    """A store of this test's own."""
    settings.STORAGE_DIR = tmp_path
    settings.FILE_UPLOAD_TEMP_DIR = str(tmp_path)


def test_a_design_is_sent_shown_approved_and_milled() -> None:
    case = released_case(approval="yes")
    file = sent(case, stl(), "design", cast.technician())
    laboratory, practice = browser(cast.technician()), browser(approver())
    assert "Show a design" not in text(laboratory.get(f"/cases/{case.number}/talk")), "nobody has looked at it yet"
    looked_at(file)
    body = {"attachment": file.pk, "text": "Please look.", "line": "1", "wall": "0.6", "collar": "1.2"}
    assert laboratory.post(f"/cases/{case.number}/approval", body).status_code == 302
    page = text(practice.get(f"/cases/{case.number}/talk"))
    assert f'<img src="/files/{file.pk}/preview" alt="Picture of the design design-1.stl"' in page
    picture = practice.get(f"/files/{file.pk}/preview")
    assert (picture.status_code, picture.headers["Content-Type"]) == (200, "image/png")
    shown = case.messages.get(kind="approval")
    decided = practice.post(f"/cases/{case.number}/messages/{shown.pk}/approve", {"decision": "approve"})
    assert decided.status_code == 302
    results = scan_through(piece(case, "abutment"), until="packing")
    assert [one.scan.action for one in results if one.scan.station.kind == "mill"] == ["start", "done"]
