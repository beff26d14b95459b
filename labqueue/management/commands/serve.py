"""Run the whole service on this machine: web server, worker, broker and database, with nothing else to install."""

import fcntl
import signal
import sys
from argparse import ArgumentParser
from typing import Any, NoReturn

from django.conf import settings
from django.core.management import BaseCommand, CommandError, call_command
from django.db import DatabaseError

from labqueue.celery import VISIBILITY_TIMEOUT, app
from labqueue.environment import transport
from labqueue.serve import address, people
from labqueue.serve.service import Failed, Service
from orders.models import Practice


class Command(BaseCommand):
    """`manage.py serve [--demo] [--host 127.0.0.1] [--port 8000]`; ends with Ctrl-C."""

    help = "Run the whole service on this machine, on the loopback interface."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """The command line."""
        parser.add_argument("--demo", action="store_true", help="fill an empty house with the demonstration laboratory")
        parser.add_argument("--host", default="127.0.0.1", help="an address of the loopback interface")
        parser.add_argument("--port", type=int, default=8000, help="the first port to try (1 to 65535)")

    def handle(self, *args: Any, demo: bool, host: str, port: int, **options: Any) -> None:
        """Start everything, print where it is, and keep it running."""
        if settings.PRODUCTION:
            raise CommandError("serve is for the embedded house; in production run a web server and workers yourself.")
        # Both said outright: a shell that starts this in the background has told it to ignore Ctrl-C.
        for number in (signal.SIGTERM, signal.SIGINT):
            signal.signal(number, _interrupt)
        service = Service(settings.STORAGE_DIR, self.say)
        with open(settings.STORAGE_DIR / "serve.lock", "w") as lock:
            _only_one(lock.fileno())
            try:
                self.start(service, demo, host, port)
                service.watch()
            except KeyboardInterrupt:
                self.say("Stopping.")
            except (Failed, OSError, RuntimeError, ValueError, DatabaseError) as error:
                raise CommandError(str(error)) from error
            finally:
                service.stop()

    def start(self, service: Service, demo: bool, host: str, port: int) -> None:
        """The parts in their order: pages answer before the demonstration is laid."""
        listener = address.listen(address.loopback(host), port)
        self.say(f"Starting at {address.url(listener)}")
        call_command("migrate", verbosity=0, interactive=False)
        app.conf.update(transport(service.add_broker(), VISIBILITY_TIMEOUT))
        service.add_web(listener)
        engine = service.warm_up()
        if demo and not Practice.objects.exists():
            self.say("Laying the demonstration laboratory; pages answer meanwhile.")
            call_command("demo", verbosity=0)
        self.introduce(people.one_per_role() if demo else people.first_administrator())
        if engine.poll() is None:
            self.say("Compiling the simulation, once; pages answer meanwhile.")
        engine.wait()
        service.add_worker()
        service.add_clock()
        self.say("Ready. Ctrl-C ends it.")

    def introduce(self, sign_ins: list[people.SignIn]) -> None:
        """Print who may sign in. The passwords are nowhere else."""
        for sign_in in sign_ins:
            self.say(f"  {sign_in.role.label:14} {sign_in.username:12} {sign_in.password}")

    def say(self, line: str) -> None:
        """One line, at once, even where the output goes to a file."""
        self.stdout.write(line)
        sys.stdout.flush()


def _interrupt(number: int, frame: object) -> NoReturn:
    """Both end the service in order."""
    raise KeyboardInterrupt


def _only_one(lock: int) -> None:
    """Two services on one storage folder would fight for its broker."""
    try:
        fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as error:
        raise CommandError(f"another service runs on {settings.STORAGE_DIR}; stop it or set STORAGE_DIR.") from error
