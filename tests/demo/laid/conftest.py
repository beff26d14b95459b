"""The demonstration, laid once for all tests of this folder; what each of them changes is rolled back."""

from collections.abc import Iterator
from datetime import datetime
from io import StringIO
from zoneinfo import ZoneInfo

import pytest
import time_machine
from django.core.management import call_command
from pytest_django import DjangoDbBlocker

from tests.harness import flush

# A Wednesday morning soon after a new year, so that the weeks before it lie in two years.
NOW = datetime(2027, 1, 13, 10, 20, tzinfo=ZoneInfo("America/New_York"))


@pytest.fixture(scope="package", autouse=True)
def said(django_db_setup: None, django_db_blocker: DjangoDbBlocker) -> Iterator[str]:
    """What the command printed when it laid the demonstration. It is still that morning."""
    out = StringIO()
    with time_machine.travel(NOW):
        with django_db_blocker.unblock():
            call_command("demo", verbosity=0, stdout=out)
        yield out.getvalue()
        with django_db_blocker.unblock():
            flush.everything()
