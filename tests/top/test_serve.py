"""`manage.py serve` as a person starts it: real processes on a storage folder of their own."""

import os
import re
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from http.cookiejar import CookieJar
from pathlib import Path
from urllib.error import HTTPError
from urllib.parse import urlencode
from urllib.request import HTTPCookieProcessor, OpenerDirector, Request, build_opener

import pytest

from labqueue.base.roles import Role
from labqueue.serve.children import Child, kill, spawn
from tests.harness.house import ROOT
from tests.harness.waiting import wait_for

pytestmark = pytest.mark.once
PARTS = 4  # broker, web, worker, clock


@dataclass
class Served:
    """A service that was started by the command, and what it prints."""

    storage: Path
    options: tuple[str, ...] = ()
    environment: dict[str, str] = field(default_factory=dict)

    def start(self) -> "Served":
        """Start it on a port that is free."""
        self.storage.mkdir(exist_ok=True)
        command = [sys.executable, "manage.py", "serve", "--port", str(free_port()), *self.options]
        self.child: Child = spawn(["/bin/sh", "-c", 'cd "$0" && exec "$@"', str(ROOT), *command], self.out, self.env())
        return self

    @property
    def out(self) -> Path:
        return self.storage / "out"

    def env(self) -> dict[str, str]:
        """The environment of a person: only the storage folder is set."""
        return {"STORAGE_DIR": str(self.storage), "REDIS_URL": "", "DATABASE_URL": "", **self.environment}

    def text(self) -> str:
        """All that it printed."""
        return self.out.read_text()

    def wait_until(self, line: str, seconds: float = 60) -> "Served":
        """Return when the line was printed."""
        wait_for(lambda: line in self.text() or self.ended(), seconds, f"{line!r} in {self.out}")
        assert line in self.text()
        return self

    def ended(self) -> bool:
        return self.child.poll() is not None

    @property
    def url(self) -> str:
        """The address that it printed."""
        found = re.search(r"http://\S+/", self.text())
        assert found, self.text()
        return found[0]

    def descendants(self) -> list[int]:
        """All processes that use its storage folder, besides itself."""
        return [pid for pid in processes(f"STORAGE_DIR={self.storage}") if pid != self.child.pid]

    def sign_in_of(self, role: str) -> tuple[str, str]:
        """The name and password that were printed for a role."""
        found = re.search(rf"^  {role} +(\S+) +(\S+)$", self.text(), re.MULTILINE)
        assert found, self.text()
        return found[1], found[2]


def processes(variable: str) -> list[int]:
    """The ids of all living processes that have this in their environment."""
    found = []
    for folder in Path("/proc").glob("[0-9]*"):
        try:
            if variable.encode() in (folder / "environ").read_bytes().split(b"\0"):
                found.append(int(folder.name))
        except OSError:
            continue
    return found


def free_port() -> int:
    """A port that nobody uses at this moment."""
    with socket.create_server(("127.0.0.1", 0)) as server:
        return int(server.getsockname()[1])


Serve = Callable[..., Served]


@pytest.fixture
def serve(tmp_path: Path) -> Iterator[Serve]:
    """`serve("--demo", NAME="value")` starts a service; it is ended after the test."""
    started: list[Served] = []

    def start(*options: str, storage: Path = tmp_path / "storage", **environment: str) -> Served:
        started.append(Served(storage, options, environment).start())
        return started[-1]

    yield start
    for service in started:
        kill(service.child)
    wait_for(lambda: not any(service.descendants() for service in started), 10, "all children to end")


@pytest.fixture(scope="module")
def running(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """A service for the tests that leave it as it is, or let it mend itself."""
    service = Served(tmp_path_factory.mktemp("running")).start()
    yield service.wait_until("Ready")
    kill(service.child)


def browser() -> OpenerDirector:
    """Something that keeps cookies."""
    return build_opener(HTTPCookieProcessor(CookieJar()))


def sign_in(service: Served, username: str, password: str) -> str:
    """The address where a person lands who fills in the form of the sign-in page."""
    opener = browser()
    page = opener.open(service.url + "sign-in", timeout=20).read().decode()
    token = re.search(r'name="csrfmiddlewaretoken" value="(\w+)"', page)
    assert token
    fields = {"username": username, "password": password, "csrfmiddlewaretoken": token[1]}
    answer = opener.open(Request(service.url + "sign-in", urlencode(fields).encode()), timeout=20)
    return str(answer.geturl())


def test_the_printed_sign_in_works_and_is_kept_nowhere(running: Served) -> None:
    name, password = running.sign_in_of("Administrator")
    assert name == "admin"
    assert sign_in(running, name, password) == running.url
    kept = [path for path in running.storage.rglob("*") if path.is_file() and path != running.out]
    assert len(kept) > 5
    assert [path for path in kept if password.encode() in path.read_bytes()] == []


def test_a_wrong_password_does_not_get_in(running: Served) -> None:
    assert sign_in(running, "admin", "not the password").endswith("/sign-in")


def test_second_start_makes_no_second_administrator(serve: Serve) -> None:
    first = serve().wait_until("Ready")
    kill(first.child)
    wait_for(lambda: not first.descendants(), 10)
    first.out.unlink()
    assert "Administrator" not in serve().wait_until("Ready").text()


def test_the_address_is_held_from_the_start(serve: Serve) -> None:
    """A browser that is early waits for the page instead of being refused."""
    start = time.monotonic()
    service = serve().wait_until("Starting at")
    with browser().open(service.url + "health", timeout=60) as page:
        assert page.read() == b"ok"
    assert time.monotonic() - start < 15


def test_the_demonstration_has_one_sign_in_per_role(serve: Serve) -> None:
    start = time.monotonic()
    service = serve("--demo").wait_until("Laying the demonstration laboratory")
    with browser().open(service.url + "sign-in", timeout=60) as page:
        assert page.status == 200
    assert time.monotonic() - start < 15
    service.wait_until("Ready", 300)
    sign_ins = [service.sign_in_of(role.label) for role in Role]
    assert [name for name, _ in sign_ins] == [role.value for role in Role]
    assert len({password for _, password in sign_ins}) == len(Role)
    for name, password in sign_ins:
        assert sign_in(service, name, password) == service.url


@pytest.mark.parametrize("how", [signal.SIGTERM, signal.SIGINT])
def test_it_ends_with_all_its_parts(serve: Serve, how: signal.Signals) -> None:
    service = serve().wait_until("Ready")
    assert len(service.descendants()) >= PARTS
    service.child.send_signal(how)
    assert service.child.wait(30) == 0
    assert service.descendants() == []
    assert service.text().endswith("Stopping.\n")


def test_kill_9_leaves_no_orphan(serve: Serve) -> None:
    service = serve().wait_until("Ready")
    assert len(service.descendants()) >= PARTS
    os.kill(service.child.pid, signal.SIGKILL)
    service.child.wait(10)
    wait_for(lambda: service.descendants() == [], 10, "its children to end")


@pytest.mark.parametrize("part", ["worker", "clock", "web", "broker"])
def test_a_part_that_is_killed_is_started_again(running: Served, part: str) -> None:
    programs = {"worker": "celery.*worker", "clock": "celery.*beat", "web": "gunicorn", "broker": "valkey-server"}
    found = [pid for pid in running.descendants() if re.search(programs[part], command_line(pid))]
    os.kill(min(found), signal.SIGKILL)
    running.wait_until(f"The {part} ended; starting it again.", 10)
    with browser().open(running.url + "health", timeout=60) as page:
        assert page.status == 200
    again = wait_for(lambda: [pid for pid in running.descendants() if re.search(programs[part], command_line(pid))], 10)
    assert min(found) not in again


def command_line(pid: int) -> str:
    """What a process was started as; empty where it has ended."""
    try:
        return Path(f"/proc/{pid}/cmdline").read_bytes().replace(b"\0", b" ").decode()
    except OSError:
        return ""


def test_a_taken_port_is_passed_over(serve: Serve) -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        service = serve("--port", str(port)).wait_until("Ready")
        assert service.url != f"http://127.0.0.1:{port}/"
        with browser().open(service.url + "health", timeout=20) as page:
            assert page.status == 200


def test_a_long_storage_path_gets_a_short_socket(serve: Serve, tmp_path: Path) -> None:
    long = tmp_path / ("long-" * 25)
    service = serve(storage=long).wait_until("Ready")
    assert not (long / "broker.sock").exists()
    assert len(service.descendants()) >= PARTS
    assert "ended" not in service.text()


def test_without_a_broker_messages_are_files(serve: Serve, tmp_path: Path) -> None:
    folder = tmp_path / "messages"
    service = serve(REDIS_URL=f"filesystem://{folder}").wait_until("Ready")
    assert not any("valkey" in command_line(pid) for pid in service.descendants())
    log = service.storage / "logs" / "worker.log"
    wait_for(lambda: "sweep_outbox" in log.read_text() and "succeeded" in log.read_text(), 40, "a task to be done")


def refused(*options: str, **environment: str) -> str:
    """The single line with which the command gives up."""
    command = [sys.executable, "manage.py", "serve", *options]
    env = {**os.environ, "REDIS_URL": "", "DATABASE_URL": "", **environment}
    done = subprocess.run(command, cwd=ROOT, env=env, capture_output=True, text=True, timeout=60)
    assert done.returncode == 1
    lines = done.stderr.strip().splitlines()
    assert len(lines) == 1, done.stderr
    return lines[0]


@pytest.mark.parametrize("host", ["0.0.0.0", "192.0.2.1", "::", "example.org"])
def test_only_the_loopback_interface_is_served(host: str, tmp_path: Path) -> None:
    line = refused("--host", host, STORAGE_DIR=str(tmp_path))
    assert host in line
    assert not (tmp_path / "labqueue.sqlite3").exists()


@pytest.mark.parametrize("port", ["0", "-1", "70000"])
def test_a_port_that_cannot_be_is_refused(port: str, tmp_path: Path) -> None:
    assert "port" in refused(f"--port={port}", STORAGE_DIR=str(tmp_path))
    assert not (tmp_path / "labqueue.sqlite3").exists()


def test_two_services_on_one_folder_are_refused(running: Served) -> None:
    assert str(running.storage) in refused(STORAGE_DIR=str(running.storage))
    with browser().open(running.url + "health", timeout=20) as page:
        assert page.status == 200


def test_a_page_that_is_not_there_is_no_crash(running: Served) -> None:
    with pytest.raises(HTTPError) as refusal:
        browser().open(running.url + "no-such-page", timeout=20)
    assert refusal.value.code == 404
