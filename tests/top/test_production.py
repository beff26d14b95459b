"""The house of production as it is started there: its settings, PostgreSQL, Redis, web server and worker processes."""

import http.client
import os
import re
import signal
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from django.contrib.auth.hashers import make_password
from django.db import transaction

from labqueue.base import outbox
from labqueue.base.models import User
from labqueue.base.roles import Role
from labqueue.serve.children import kill, spawn
from tests.harness.house import ROOT
from tests.harness.waiting import wait_for
from tests.harness.worker import Broker, Worker, worker_environment
from tests.top.test_environment import full
from tests.top.test_serve import free_port

pytestmark = [pytest.mark.postgres, pytest.mark.django_db(transaction=True)]

Ask = Callable[..., http.client.HTTPResponse]


def production(storage: Path, broker: Broker) -> dict[str, str]:
    """The environment of production on the servers of this test run."""
    storage.mkdir()
    return {**os.environ, **full(storage), **worker_environment(), "REDIS_URL": f"redis+socket://{broker.socket}"}


@pytest.fixture
def ask(tmp_path: Path, broker: Broker) -> Iterator[Ask]:
    """`ask("GET", "/path", headers={…})` asks the web server of production, as its proxy does."""
    port = free_port()
    command = [sys.executable, "-m", "gunicorn", "labqueue.wsgi", "--chdir", str(ROOT), "--no-control-socket"]
    command += ["--bind", f"127.0.0.1:{port}", "--worker-class", "gthread", "--threads", "2"]
    log = tmp_path / "web.log"
    child = spawn(command, log, production(tmp_path / "storage", broker))
    wait_for(lambda: log.exists() and "Booting worker" in log.read_text(), 30, "the web server")

    def send(
        method: str, path: str, body: str = "", headers: dict[str, str] | None = None, proto: str = "https"
    ) -> http.client.HTTPResponse:
        connection = http.client.HTTPConnection("127.0.0.1", port, timeout=30)
        own = {"Host": "lab.example.org", "X-Forwarded-Proto": proto, "Referer": "https://lab.example.org/sign-in"}
        connection.request(method, path, body, {**own, **(headers or {})})
        return connection.getresponse()

    yield send
    kill(child)


def test_only_encrypted_requests_are_served(ask: Ask) -> None:
    assert ask("GET", "/health").status == 200
    plain = ask("GET", "/health", proto="http")
    assert (plain.status, plain.headers["Location"]) == (301, "https://lab.example.org/health")
    assert "max-age=31536000" in str(ask("GET", "/sign-in").headers["Strict-Transport-Security"])


def test_a_foreign_host_name_is_refused(ask: Ask) -> None:
    assert ask("GET", "/sign-in", headers={"Host": "elsewhere.example.org"}).status == 400


def test_a_person_signs_in_with_a_cookie_for_this_host_alone(ask: Ask) -> None:
    password = make_password("kiln and bench 12", hasher="argon2")
    User.objects.create(username="manager", password=password, role=Role.MANAGER)
    page = ask("GET", "/sign-in")
    cookie = str(page.headers["Set-Cookie"])
    assert cookie.startswith("__Host-csrf=")
    token = re.search(r'name="csrfmiddlewaretoken" value="(\w+)"', page.read().decode())
    assert token
    form = f"username=manager&password=kiln+and+bench+12&csrfmiddlewaretoken={token[1]}"
    sent = {"Cookie": cookie.split(";")[0], "Content-Type": "application/x-www-form-urlencoded"}
    answer = ask("POST", "/sign-in", form, sent)
    assert (answer.status, answer.headers["Location"]) == (302, "/")
    session = [line for line in answer.headers.get_all("Set-Cookie") or [] if line.startswith("__Host-session=")]
    assert len(session) == 1
    assert "Secure" in session[0]
    assert "HttpOnly" in session[0]


def test_style_sheets_are_served_without_being_collected(ask: Ask) -> None:
    answer = ask("GET", "/static/base/house.css")
    assert (answer.status, answer.headers["Content-Type"]) == (200, 'text/css; charset="utf-8"')


def test_a_worker_of_production_does_the_work(
    tmp_path: Path, broker: Broker, new_worker: Callable[..., Worker]
) -> None:
    diary = tmp_path / "diary"
    environment = {**production(tmp_path / "storage", broker), "FAULT_LOG": str(diary)}
    worker = new_worker("--beat", "--include", "tests.faults.handlers", **environment)
    with transaction.atomic():
        outbox.put("faults.quick", "case:1")
    wait_for(lambda: diary.exists() and "published case:1" in diary.read_text(), 45, "the work")
    os.kill(worker.pid, signal.SIGTERM)
    assert worker.child is not None
    assert worker.child.wait(30) == 0
