"""`manage.py demo`: load the demonstration laboratory."""

from typing import Any

from django.core.management.base import BaseCommand, CommandError

from labqueue.base.errors import Refusal
from labqueue.demo.load import load


class Command(BaseCommand):
    """Fills an empty database; refuses any other."""

    help = "Load the demonstration laboratory with eight weeks of work into an empty database."

    def handle(self, *args: Any, verbosity: int, **options: Any) -> None:
        """Say how many cases there are, or why it was not done."""
        try:
            cases = load()
        except Refusal as refusal:
            raise CommandError(str(refusal)) from refusal
        if verbosity:
            self.stdout.write(f"The demonstration laboratory has {cases} cases.")
