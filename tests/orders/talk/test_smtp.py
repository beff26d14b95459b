"""A mail goes over a real connection to a mail server, as the address of the server says."""

import socketserver
import threading
from collections.abc import Iterator
from typing import Any

import pytest

from labqueue import environment
from labqueue.base import outbox
from labqueue.base.models import OutboxRow
from tests.orders.talk.build import approver, asked_case

pytestmark = pytest.mark.django_db

ADDRESS = "doctor@northgate.example"


class Server(socketserver.ThreadingTCPServer):
    """A mail server that takes everything (RFC 5321) and keeps it."""

    allow_reuse_address = daemon_threads = True

    def __init__(self) -> None:
        super().__init__(("127.0.0.1", 0), Session)
        self.commands: list[str] = []
        self.mails: list[str] = []


class Session(socketserver.StreamRequestHandler):
    """One connection."""

    server: Server

    def handle(self) -> None:
        """Answer each command until the other side quits."""
        self.say("220 ready")
        while line := self.rfile.readline().decode().strip():
            self.server.commands.append(line)
            if line.upper() == "DATA":
                self.say("354 go on")
                self.server.mails.append(self.body())
            self.say("221 bye" if line.upper() == "QUIT" else "250 fine")

    def body(self) -> str:
        """The mail up to its single dot."""
        lines = []
        while (line := self.rfile.readline().decode().rstrip("\r\n")) != ".":
            lines.append(line)
        return "\n".join(lines)

    def say(self, line: str) -> None:
        """One line of the server."""
        self.wfile.write(f"{line}\r\n".encode())


@pytest.fixture
def server() -> Iterator[Server]:
    """A server that runs while the test does."""
    with Server() as running:
        threading.Thread(target=running.serve_forever, daemon=True).start()
        yield running
        running.shutdown()


def test_a_notice_reaches_a_mail_server(server: Server, settings: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("SMTP_URL", f"smtp://127.0.0.1:{server.server_address[1]}")
    monkeypatch.setenv("MAIL_FROM", "orders@lab.example.org")
    for name, value in environment.mail("SMTP_URL", "MAIL_FROM").items():
        setattr(settings, name, value)
    approver(email=ADDRESS)
    case, question = asked_case("Which screw for Seeksorrow?")
    row = OutboxRow.objects.get(kind="mail")
    assert outbox.run(row.pk) is True
    (letter,) = server.mails
    assert f"Subject: Case {case.number}: the laboratory has a question" in letter
    assert f"To: {ADDRESS}" in letter
    assert f"Message-ID: <{question.pk}." in letter
    assert "Seeksorrow" not in letter
    assert any(line.upper().startswith("MAIL FROM:<ORDERS@LAB.EXAMPLE.ORG>") for line in server.commands)
