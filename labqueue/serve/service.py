"""Broker, web server, worker and clock of the embedded house, as children of one process that keeps them running."""

import os
import socket
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from labqueue.serve import broker
from labqueue.serve.children import Child, spawn, stop

Say = Callable[[str], None]
# A part that ends this often within a minute will not come right by being started again.
MOST_RESTARTS = 5


class Failed(Exception):
    """The service cannot go on; the message is one line."""


@dataclass
class Part:
    """One child and how it is started."""

    name: str
    start: Callable[[], Child]
    child: Child
    restarts: list[float] = field(default_factory=list)


@dataclass
class Service:
    """All parts, in the order in which they were started. `environment` is what the children get besides our own."""

    storage: Path
    say: Say
    environment: dict[str, str] = field(default_factory=dict)
    parts: list[Part] = field(default_factory=list)
    listener: socket.socket | None = None

    def log(self, name: str) -> Path:
        """Where a part writes what it has to say."""
        folder = self.storage / "logs"
        folder.mkdir(exist_ok=True)
        return folder / f"{name}.log"

    def add(self, name: str, start: Callable[[], Child]) -> None:
        """Start a part; its log begins anew."""
        self.log(name).unlink(missing_ok=True)
        self.parts.append(Part(name, start, start()))

    def add_broker(self) -> str:
        """Start the embedded broker unless REDIS_URL names another; its address.

        Where the embedded one does not run on this machine, messages are kept as files.
        """
        if own := os.environ.get("REDIS_URL", "").strip():
            return own
        server = broker.embedded_server()
        if server is None:
            self.say("The embedded broker does not run on this machine; messages are kept as files instead.")
            return self.use_broker(f"filesystem://{self.storage / 'messages'}")
        path, found = broker.socket_in(self.storage), server
        self.add("broker", lambda: broker.start(found, path, self.storage / "broker"))
        return self.use_broker(f"redis+socket://{path}")

    def use_broker(self, url: str) -> str:
        """Let all later parts use the broker at `url`."""
        self.environment["REDIS_URL"] = url
        return url

    def add_web(self, listener: socket.socket) -> None:
        """Start the web server on a socket that is open already, and stays open while a new one is started."""
        self.listener = listener
        options = ["--worker-class", "gthread", "--workers", "2", "--threads", "4", "--no-control-socket"]
        command = [sys.executable, "-m", "gunicorn", "labqueue.wsgi", "--bind", f"fd://{listener.fileno()}", *options]
        self.add("web", lambda: spawn(command, self.log("web"), self.environment, keep_open=[listener.fileno()]))

    def warm_up(self) -> Child:
        """Begin to compile the engine, politely; where a cache holds it, that is done in a moment."""
        code = "import os; os.nice(10); from labqueue import engine; engine.warm_up()"
        return spawn([sys.executable, "-c", code], self.log("engine"), self.environment)

    def add_worker(self) -> None:
        """Start one worker."""
        options = ["--pool", "threads", "--concurrency", "2", "--without-gossip", "--without-mingle"]
        self.add_celery("worker", "worker", *options)

    def add_clock(self) -> None:
        """Start what sends the tasks of the schedule."""
        schedule = str(self.storage / "beat")
        self.add_celery("clock", "beat", "--schedule", schedule, "--pidfile", "")

    def add_celery(self, name: str, *arguments: str) -> None:
        """Start one command of Celery."""
        command = [sys.executable, "-m", "celery", "--app", "labqueue", *arguments, "--loglevel", "INFO"]
        self.add(name, lambda: spawn(command, self.log(name), self.environment))

    def watch(self) -> None:
        """Start again whatever ends. Raises Failed where a part ends too often."""
        while True:
            time.sleep(0.5)
            for part in self.parts:
                if part.child.poll() is not None:
                    self.restart(part)

    def restart(self, part: Part) -> None:
        """Start a part again, and say so."""
        now = time.monotonic()
        part.restarts = [at for at in part.restarts if now - at < 60] + [now]
        if len(part.restarts) > MOST_RESTARTS:
            raise Failed(f"the {part.name} ends again and again; see {self.log(part.name)}")
        self.say(f"The {part.name} ended; starting it again.")
        part.child = part.start()

    def stop(self) -> None:
        """End all parts, the last one first."""
        for part in reversed(self.parts):
            stop(part.child)
        self.parts.clear()
        if self.listener is not None:
            self.listener.close()
