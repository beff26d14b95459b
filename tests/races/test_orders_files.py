"""Files at the same moment: each has a number of its own, the same one is taken once, and none is lost with another."""

from pathlib import Path

import pytest
from pytest_django import Settings

from labqueue.base import audit, files
from labqueue.base.errors import Refusal
from labqueue.base.models import Chain
from orders.attachments.receive import forget
from orders.attachments.withdraw import withdraw
from orders.models import Attachment, Case
from tests import cast
from tests.orders import build
from tests.orders.attachments import build as made
from tests.races.together import together

pytestmark = [pytest.mark.postgres, pytest.mark.django_db(transaction=True)]
SEVERAL = 6


@pytest.fixture(autouse=True)
def store(settings: Settings, tmp_path: Path) -> None:
    """A store of this test's own."""
    settings.STORAGE_DIR = tmp_path


def sent(case: Case, data: bytes) -> str:
    """What became of a file: its name, or what was said instead."""
    try:
        return made.sent(Case.objects.get(pk=case.pk), data, "document", cast.assistant()).filename
    except Refusal as refusal:
        return str(refusal)


def test_each_file_gets_a_number_of_its_own() -> None:
    case = build.draft_case()
    names = together(SEVERAL, lambda n: sent(case, made.pdf(b"/N %d" % n)))
    assert sorted(names) == [f"document-{n}.pdf" for n in range(1, SEVERAL + 1)]
    assert audit.verify(Chain.objects.get(name=audit.chain_name(case))) is None


def test_the_same_file_is_taken_once_and_stays() -> None:
    case = build.draft_case()
    said = together(SEVERAL, lambda n: sent(case, made.pdf()))
    assert said.count("document-1.pdf") == 1
    assert len([one for one in said if "is with the case already" in one]) == SEVERAL - 1
    assert files.open_file(Attachment.objects.get().file).read() == made.pdf()


def test_what_one_case_withdraws_another_keeps() -> None:
    cases = [build.draft_case() for _ in range(SEVERAL)]
    first = made.sent(cases[0], made.pdf(), "document")
    withdraw(cast.assistant(), cases[0], first)

    def work(number: int) -> str:
        return sent(cases[number], made.pdf()) if number else str(forget(first.file))

    said = together(SEVERAL, work)
    assert said[1:] == ["document-1.pdf"] * (SEVERAL - 1)
    for one in Attachment.objects.filter(withdrawn_at__isnull=True):
        assert files.open_file(one.file).read() == made.pdf()
