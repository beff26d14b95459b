"""Large bodies at the door, and how a file of a request comes to the disk."""

from io import BytesIO
from pathlib import Path
from typing import Any

import pytest
from django.http.multipartparser import MultiPartParser
from django.test import Client
from pytest_django import Settings

from labqueue.base.api import issue_token, revoke_token
from labqueue.base.models import ApiToken
from labqueue.base.uploads import Capped, Incoming
from tests import cast
from tests.orders import build
from tests.orders.attachments import build as made
from tests.orders.test_case_pages import browser

pytestmark = pytest.mark.django_db
LARGE = 1_000_001


class Unread(BytesIO):
    """A body that tells whether anybody has read of it."""

    def __init__(self, size: int) -> None:
        super().__init__(bytes(min(size, LARGE)))
        self.was_read = False

    def read(self, size: int | None = -1, /) -> bytes:
        """Noted."""
        self.was_read = True
        return super().read(size)


def sent(client: Client, path: str, size: int = LARGE, **facts: Any) -> tuple[Any, Unread]:
    """The answer to a body of that size, and the body."""
    body = Unread(size)
    stated = {"CONTENT_LENGTH": str(size), "CONTENT_TYPE": "multipart/form-data; boundary=x", "wsgi.input": body}
    return client.generic("POST", path, **{**stated, **facts}), body


@pytest.fixture
def address() -> str:
    """Where files of a case are sent."""
    return f"/cases/{build.draft_case().number}/files"


def test_nobody_sends_a_large_body(address: str) -> None:
    for path in (address, f"/api/v1{address}", "/sign-in", "/nowhere", "/"):
        answer, body = sent(Client(), path)
        assert answer.status_code == 413, path
        assert not body.was_read, path


@pytest.mark.parametrize("path", ["/cases/new", "/sign-in", "/api/v1/cases", "/nowhere", "/files/1"])
def test_a_large_body_is_read_only_where_files_are_sent(path: str) -> None:
    answer, body = sent(browser(cast.assistant()), path)
    assert answer.status_code == 413
    assert not body.was_read
    assert "up to 200 MB" in answer.content.decode()


def test_programs_are_told_as_a_problem(address: str) -> None:
    answer, _ = sent(Client(), f"/api/v1{address}")
    assert answer["Content-Type"] == "application/problem+json"
    assert (answer.json()["status"], answer.json()["title"]) == (413, "Too large")


def test_a_known_person_and_a_known_program_are_read(address: str) -> None:
    _, body = sent(browser(cast.assistant()), address)
    assert body.was_read
    _, body = sent(Client(), f"/api/v1{address}", HTTP_AUTHORIZATION=f"Bearer {issue_token(cast.assistant(), 'test')}")
    assert body.was_read


def test_an_unknown_or_revoked_token_is_nobody(address: str) -> None:
    token = issue_token(cast.assistant(), "test")
    revoke_token(ApiToken.objects.get(), cast.assistant())
    for given in (token, "lq_guessed"):
        answer, body = sent(Client(), f"/api/v1{address}", HTTP_AUTHORIZATION=f"Bearer {given}")
        assert (answer.status_code, body.was_read) == (413, False)


def test_what_no_file_can_be_is_not_read_at_all(address: str) -> None:
    answer, body = sent(browser(cast.assistant()), address, size=400_000_001)
    assert (answer.status_code, body.was_read) == (413, False)


def test_a_large_body_that_is_no_form_is_not_taken_in_either(address: str) -> None:
    answer, _ = sent(browser(cast.assistant()), address, CONTENT_TYPE="application/x-www-form-urlencoded")
    assert answer.status_code == 400


@pytest.mark.parametrize("stated", ["", "many", "-5"])
def test_a_body_without_a_size_is_empty(stated: str, address: str) -> None:
    answer, _ = sent(browser(cast.assistant()), address, CONTENT_LENGTH=stated)
    assert answer.status_code in (400, 422)


def multipart(data: bytes, name: str = "scan.stl", times: int = 1) -> bytes:
    """A body with that file."""
    head = f'--x\r\nContent-Disposition: form-data; name="file"; filename="{name}"\r\n\r\n'.encode()
    return times * (head + data + b"\r\n") + b"--x--\r\n"


class Trickle(BytesIO):
    """A body that comes byte by byte."""

    def read(self, size: int | None = -1, /) -> bytes:
        """At most one."""
        return super().read(min(1, size) if size and size > 0 else 1)


def taken(body: BytesIO) -> Incoming:
    """The file of a body, as Django's parser hands it to our handler."""
    meta = {"CONTENT_TYPE": "multipart/form-data; boundary=x", "CONTENT_LENGTH": str(len(body.getvalue()))}
    _, files = MultiPartParser(meta, body, [Capped()]).parse()
    found = files["file"]
    assert isinstance(found, Incoming)
    return found


@pytest.mark.parametrize("data", [b"", b"x", made.stl()[:1000]])
def test_a_file_that_comes_byte_by_byte_is_whole(data: bytes) -> None:
    found = taken(Trickle(multipart(data)))
    assert (found.read(), found.size, found.too_large) == (data, len(data), False)


def test_on_the_disk_it_has_no_name(settings: Settings, tmp_path: Path) -> None:
    settings.FILE_UPLOAD_TEMP_DIR = str(tmp_path)
    found = taken(BytesIO(multipart(bytes(300_000), "../../evil.stl")))
    assert found.size == 300_000
    assert list(tmp_path.iterdir()) == []
    assert found.name == "evil.stl"


def test_the_rest_of_what_is_too_large_is_let_go(settings: Settings) -> None:
    settings.UPLOAD_MAX_FILE = 100_000
    found = taken(BytesIO(multipart(bytes(300_000))))
    assert found.too_large
    assert (found.size or 0) <= 100_000
    assert len(found.read()) == found.size
    whole = taken(BytesIO(multipart(bytes(100_000))))
    assert (whole.size, whole.too_large) == (100_000, False)


def test_a_sender_who_leaves_leaves_nothing_open(settings: Settings, tmp_path: Path) -> None:
    settings.FILE_UPLOAD_TEMP_DIR = str(tmp_path)
    handler = Capped()
    handler.new_file("file", "a.stl", "model/stl", 10)
    handler.receive_data_chunk(b"abc", 0)
    handler.upload_interrupted()
    assert handler.incoming is not None
    assert handler.incoming.closed


def test_one_file_at_a_time(address: str) -> None:
    two = multipart(made.stl(), times=2)
    answer = browser(cast.assistant()).generic("POST", address, two, content_type="multipart/form-data; boundary=x")
    assert answer.status_code == 400
