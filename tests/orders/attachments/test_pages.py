"""Files on pages and for programs: sent, listed, saved, withdrawn; only by who may see the case."""

from pathlib import Path
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from labqueue.base.api import issue_token
from labqueue.base.headers import SANDBOX
from labqueue.base.models import OutboxRow, User
from orders.attachments.reads import files_of
from orders.models import Attachment, Case
from tests import cast
from tests.orders import build
from tests.orders.attachments import build as made
from tests.orders.attachments.test_receive import nothing_kept
from tests.orders.test_case_pages import browser, text

pytestmark = pytest.mark.django_db
HTMX = {"HX-Request": "true"}


def form(data: bytes, role: str = "implant_scan", **facts: Any) -> dict[str, Any]:
    """A form as a browser sends it."""
    return {"role": role, "file": SimpleUploadedFile("Mrs Miller.stl", data), **facts}


def program(user: User) -> dict[str, str]:
    """The header of a program."""
    return {"Authorization": f"Bearer {issue_token(user, 'test')}"}


def ready(data: bytes | None = None, role: str = "implant_scan", **facts: Any) -> Attachment:
    """A file of a signed case that was looked at."""
    return made.looked_at(made.sent(build.signed_case(), data or made.stl(), role, **facts))


def body(answer: Any) -> bytes:
    """All of a streamed answer."""
    return b"".join(answer.streaming_content)


def test_a_file_is_sent_listed_and_saved() -> None:
    case = build.draft_case()
    client = browser(cast.assistant())
    page = text(client.get(f"/cases/{case.number}"))
    assert f'hx-get="/cases/{case.number}/files"' in page
    sent = client.post(f"/cases/{case.number}/files", form(made.stl()), follow=True)
    assert sent.redirect_chain == [(f"/cases/{case.number}/files", 302)]
    assert "Being checked" in text(sent)
    found = made.looked_at(files_of(case).get())
    page = text(client.get(f"/cases/{case.number}/files"))
    assert "STL, 107.9" in page
    assert "2,208 triangles" in page
    assert "Miller" not in page
    assert f'<img src="/files/{found.pk}/preview" width="240" alt="Picture of implant_scan-1.stl"' in page
    assert body(client.get(f"/files/{found.pk}")) == made.stl()


def test_the_list_asks_again_while_a_file_is_being_checked_and_tells_how_far() -> None:
    case = build.draft_case()
    client = browser(cast.assistant())
    found = made.sent(case, made.stl())
    Attachment.objects.filter(pk=found.pk).update(progress=35)
    page = text(client.get(f"/cases/{case.number}/files", headers=HTMX))
    assert 'hx-select="#files-list" hx-trigger="every 2s" hx-swap="outerHTML" data-live' in page
    assert '<span class="value">35 %</span>' in page
    assert "<html" not in page
    made.looked_at(found)
    assert "every 2s" not in text(client.get(f"/cases/{case.number}/files", headers=HTMX))


def test_a_file_the_worker_gave_up_says_so_and_asks_no_more() -> None:
    case = build.draft_case()
    found = made.sent(case, made.stl())
    OutboxRow.objects.filter(subject=f"attachment:{found.pk}").update(state="dead")
    page = text(browser(cast.assistant()).get(f"/cases/{case.number}/files"))
    assert "Could not be checked" in page
    assert "every 2s" not in page


def test_a_refused_file_says_why_at_its_field(store: Path) -> None:
    case = build.draft_case()
    answer = browser(cast.assistant()).post(f"/cases/{case.number}/files", form(made.stl(count=9)))
    assert answer.status_code == 422
    assert "it states 9 triangles" in text(answer)
    assert answer.context["form"].errors.keys() == {"file"}
    nothing_kept(store)


def test_what_the_worker_refused_is_listed_with_the_reason() -> None:
    case = build.draft_case()
    made.settled(made.sent(case, made.stl_text()[:-40]))
    assert "a part of it is missing" in text(browser(cast.assistant()).get(f"/cases/{case.number}/files"))


@pytest.mark.parametrize("who", [cast.technician, cast.manager, cast.shipper, cast.assistant])
def test_who_may_see_the_case_may_have_the_file(who: Any) -> None:
    found = ready()
    answer = browser(who()).get(f"/files/{found.pk}")
    assert body(answer) == made.stl()
    assert answer["Content-Disposition"] == 'attachment; filename="implant_scan-1.stl"'
    assert answer["Content-Type"] == "model/stl"
    assert answer["X-Content-Type-Options"] == "nosniff"
    assert answer["Content-Security-Policy"] == SANDBOX
    assert answer["Cache-Control"] == "no-store"
    picture = browser(who()).get(f"/files/{found.pk}/preview")
    assert (picture["Content-Type"], body(picture)[:4]) == ("image/png", b"\x89PNG")
    assert picture["Content-Security-Policy"] == SANDBOX


@pytest.mark.parametrize("path", ["/files/{}", "/files/{}/preview", "/api/v1/files/{}", "/api/v1/files/{}/content"])
def test_for_another_practice_there_is_no_such_file(path: str) -> None:
    found = ready()
    client, stranger = browser(cast.prescriber("southgate")), path.format(found.pk)
    unknown = path.format(999_999)
    assert client.get(stranger).status_code == client.get(unknown).status_code == 404
    assert client.get(f"/cases/{found.case.number}/files").status_code == 404
    sent = client.post(f"/cases/{found.case.number}/files", form(made.ply()))
    assert sent.status_code == 404
    assert client.post(f"/files/{found.pk}/withdraw").status_code == 404
    assert files_of(found.case).get() == found


def test_a_draft_of_a_practice_shows_the_laboratory_no_files() -> None:
    found = made.looked_at(made.sent(build.draft_case(), made.stl()))
    assert browser(cast.manager()).get(f"/files/{found.pk}").status_code == 404


def test_nobody_gets_a_file_by_its_place_in_the_store() -> None:
    found = ready()
    for path in (f"/static/{found.file}", f"/files/{found.file}", f"/{found.file}", f"/media/{found.file}"):
        assert browser(cast.assistant()).get(path).status_code == 404
    assert Client().get(f"/files/{found.pk}").status_code == 302


def test_before_it_was_checked_nobody_has_it_and_refused_it_is_gone() -> None:
    client = browser(cast.assistant())
    found = made.sent(build.draft_case(), made.stl_text()[:-40])
    assert client.get(f"/files/{found.pk}").status_code == 409
    assert client.get(f"/files/{found.pk}/preview").status_code == 404
    made.settled(found)
    assert client.get(f"/files/{found.pk}").status_code == 404


def test_the_practice_does_not_read_who_sent_a_design() -> None:
    case = build.signed_case()
    made.sent(case, made.stl(), "design", cast.technician())
    page = text(browser(cast.assistant()).get(f"/cases/{case.number}/files"))
    assert "From the laboratory" in page
    assert "Tessa" not in page
    assert "Tessa Test" in text(browser(cast.manager()).get(f"/cases/{case.number}/files"))


def test_who_only_ships_sees_and_sends_nothing() -> None:
    found = ready()
    client = browser(cast.shipper())
    page = text(client.get(f"/cases/{found.case.number}/files"))
    assert "implant_scan-1.stl" in page
    assert "<form" not in page.split('id="files"')[1]
    assert client.post(f"/cases/{found.case.number}/files", form(made.ply())).status_code == 403


def choices(user: User, case: Case) -> set[str]:
    """What the form offers."""
    answer = browser(user).get(f"/cases/{case.number}/files")
    return {f"{role}" for role in Attachment.Role.values if f'<option value="{role}"' in text(answer)}


def test_the_form_offers_what_may_be_sent() -> None:
    case, every = build.signed_case(), set(Attachment.Role.values)
    assert choices(cast.assistant(), case) == every - {"design"}
    assert choices(cast.technician(), case) == every
    assert choices(cast.assistant(), build.shipped_case()) == {"evaluation"}


def test_a_file_is_withdrawn_on_the_page() -> None:
    found, scan = ready(made.photo(), "photo_smile"), ready()
    client = browser(cast.assistant())
    page = text(client.get(f"/cases/{found.case.number}/files"))
    assert f'action="/files/{found.pk}/withdraw"' in page
    assert "/withdraw" not in text(client.get(f"/cases/{scan.case.number}/files"))
    client.post(f"/files/{found.pk}/withdraw")
    assert not files_of(found.case).exists()
    assert client.get(f"/files/{found.pk}").status_code == 404


def test_a_program_sends_reads_saves_and_withdraws() -> None:
    case, headers = build.draft_case(), program(cast.assistant())
    address = f"/api/v1/cases/{case.number}/files"
    sent = Client().post(address, form(made.photo(), "photo_shade", no_face="true"), headers=headers)
    assert sent.status_code == 201, sent.content
    said = sent.json()
    assert (said["name"], said["state"], said["from_laboratory"]) == ("photo_shade-1.jpeg", "checking", False)
    found = made.looked_at(Attachment.objects.get(pk=said["id"]))
    [listed] = Client().get(address, headers=headers).json()
    assert listed == Client().get(f"/api/v1/files/{found.pk}", headers=headers).json()
    assert (listed["state"], listed["facts"], listed["progress"]) == ("ready", {"pixels": [1200, 800]}, 100)
    content = Client().get(f"/api/v1/files/{found.pk}/content", headers=headers)
    assert body(content)[:3] == b"\xff\xd8\xff"
    assert content["Content-Security-Policy"] == SANDBOX
    assert Client().delete(f"/api/v1/files/{found.pk}", headers=headers).status_code == 204
    assert Client().get(address, headers=headers).json() == []


def test_a_program_is_refused_as_a_problem(store: Path) -> None:
    case = build.draft_case()
    address, headers = f"/api/v1/cases/{case.number}/files", program(cast.assistant())
    answer = Client().post(address, form(made.photo(), "photo_shade"), headers=headers)
    assert (answer.status_code, answer["Content-Type"]) == (422, "application/problem+json")
    assert answer.json()["errors"][0]["pointer"] == "/no_face"
    assert Client().post(address, {"role": "design"}, headers=headers).status_code in (400, 422)
    nothing_kept(store)


def test_the_list_asks_the_database_equally_often_for_many_files() -> None:
    case = build.signed_case()
    client = browser(cast.assistant())

    def queries() -> int:
        with CaptureQueriesContext(connection) as asked:
            assert client.get(f"/cases/{case.number}/files").status_code == 200
        return len(asked)

    made.sent(case, made.pdf(), "document")
    few = queries()
    for row in range(12):
        made.sent(case, made.pdf(b"/N %d" % row), "document")
        made.looked_at(made.sent(case, made.stl(made.triangles()[: 100 + row])))
    assert queries() == few
