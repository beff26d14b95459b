"""Real brokers and real worker processes on the database of the tests."""

import os
import shutil
import signal
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pytest
from django.conf import settings
from django.db import connection
from psycopg.conninfo import make_conninfo

from labqueue.serve import broker as embedded
from labqueue.serve.children import Child, kill, spawn, stop
from tests.harness.house import ON_POSTGRES, ROOT
from tests.harness.waiting import wait_for


@dataclass
class Broker:
    """A private server on a unix socket: Redis beside PostgreSQL, the embedded one beside SQLite."""

    server: Path
    socket: Path
    folder: Path
    child: Child | None = None

    def start(self) -> None:
        """Start it, or start it again with what it kept."""
        self.child = embedded.start(self.server, self.socket, self.folder)

    def stop(self) -> None:
        """kill -9; whoever was connected has to find out."""
        if self.child is not None:
            kill(self.child)
            self.child = None


@dataclass
class Worker:
    """One `celery worker` process with its pool."""

    log: Path
    options: tuple[str, ...]
    environment: dict[str, str] = field(default_factory=dict)
    child: Child | None = None

    @property
    def pid(self) -> int:
        """The process id of the parent of the pool."""
        assert self.child is not None, "the worker is not running"
        return self.child.pid

    def start(self) -> None:
        """Start it and wait until it takes work."""
        self.log.unlink(missing_ok=True)
        command = [sys.executable, "-m", "celery", "--app", "labqueue", "worker", "--loglevel", "INFO"]
        command += ["--without-gossip", "--without-mingle", "--concurrency", "2", *self.options]
        self.child = spawn(command, self.log, {**worker_environment(), **self.environment})
        wait_for(self.ready, 60, f"the worker; its log: {self.log}")

    def ready(self) -> bool:
        """Whether it is connected; an error where it ended instead."""
        assert self.child is not None
        assert self.child.poll() is None, f"the worker ended: {self.log.read_text()[-2000:]}"
        return " ready." in self.log.read_text()

    def pool(self) -> list[int]:
        """The process ids of its children."""
        return [int(pid) for pid in Path(f"/proc/{self.pid}/task/{self.pid}/children").read_text().split()]

    def kill(self) -> None:
        """kill -9 the worker with its whole pool."""
        assert self.child is not None
        kill(self.child)
        self.child = None

    def stop(self) -> None:
        """End it as an operator would."""
        if self.child is not None:
            stop(self.child)
            self.child = None


def worker_environment() -> dict[str, str]:
    """What another process needs to work on the database of this test run."""
    extra = {"PYTHONPATH": str(ROOT)}
    if ON_POSTGRES:
        database = connection.settings_dict
        names = {"dbname": "NAME", "user": "USER", "password": "PASSWORD", "host": "HOST", "port": "PORT"}
        parts = {key: database[name] for key, name in names.items() if database.get(name)}
        extra["DATABASE_URL"] = postgres_url(parts)
    return extra


def postgres_url(parts: dict[str, str]) -> str:
    """`postgresql://?dbname=…&host=…` with the values quoted."""
    from urllib.parse import urlencode

    make_conninfo(**parts)
    return f"postgresql://?{urlencode(parts)}"


def broker_server() -> Path:
    """The program of the broker for this run."""
    found = shutil.which("redis-server") if ON_POSTGRES else embedded.embedded_server()
    assert found, "no broker can be started here; tests/run.py installs what is missing"
    return Path(found)


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Broker]:
    """A running broker, which this process and the worker processes use."""
    server = Broker(broker_server(), Path(settings.REDIS_URL.removeprefix("redis+socket://")), tmp_path / "broker")
    server.start()
    yield server
    server.stop()


@pytest.fixture
def new_worker(broker: Broker, transactional_db: None, tmp_path: Path) -> Iterator[Callable[..., Worker]]:
    """Start workers: `new_worker("--beat", LABEL="value")`. All are ended after the test."""
    workers: list[Worker] = []

    def start(*options: str, **environment: str) -> Worker:
        number = len(workers)
        own = ("--schedule", str(tmp_path / f"beat-{number}")) if "--beat" in options else ()
        workers.append(Worker(tmp_path / f"worker-{number}.log", (*options, *own), environment))
        workers[-1].start()
        return workers[-1]

    yield start
    for worker in workers:
        worker.stop()


@pytest.fixture
def worker(new_worker: Callable[..., Worker]) -> Worker:
    """One worker with beat: everything that is put into the outbox gets done."""
    return new_worker("--beat")


def kill_process(pid: int) -> None:
    """kill -9 one process that a test started."""
    os.kill(pid, signal.SIGKILL)
