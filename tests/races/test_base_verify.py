"""`manage.py verify` while the house goes on working."""

import io
from threading import Thread

import pytest
from django.core.management import call_command
from django.db import connection, transaction

from labqueue.base import audit
from labqueue.base.audit import Break
from labqueue.base.models import Chain

pytestmark = pytest.mark.django_db(transaction=True)
# More than is fetched at once, so that a query would still be being read when somebody writes.
MANY = 2100


def write() -> None:
    """One more event, by somebody else."""
    with transaction.atomic():
        audit.record("house:busy", "worked", None)
    connection.close()


def test_it_reads_on_while_others_write(monkeypatch: pytest.MonkeyPatch) -> None:
    Chain.objects.bulk_create(Chain(name=f"house:{number}") for number in range(MANY))
    verify = audit.verify
    verified: list[int] = []

    def between(chain: Chain) -> Break | None:
        if len(verified) < 3:
            other = Thread(target=write)
            other.start()
            other.join(30)
        verified.append(chain.pk)
        return verify(chain)

    monkeypatch.setattr(audit, "verify", between)
    said = io.StringIO()
    call_command("verify", stdout=said)
    assert said.getvalue().count("all hold") == 4
    assert len(verified) == MANY
