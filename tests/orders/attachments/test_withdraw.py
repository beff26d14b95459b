"""Taking a file back: by the side that sent it, as long as nobody works by it; what it held is forgotten."""

from contextlib import nullcontext
from pathlib import Path

import pytest
from django.db import IntegrityError, transaction
from django.utils import timezone

from labqueue.base import audit, files
from labqueue.base.errors import Conflict, Forbidden, NotFound
from orders.attachments.reads import file_for, files_of
from orders.attachments.withdraw import withdraw
from orders.models import Attachment, Case
from orders.talk.ask_approval import ask_approval
from tests import cast
from tests.orders import build
from tests.orders.attachments import build as made
from tests.orders.attachments.test_receive import kept

pytestmark = pytest.mark.django_db


def in_state(state: str) -> Case:
    """A signed case that has come so far; what the floor writes is not there."""
    case = build.signed_case()
    Case.objects.filter(pk=case.pk).update(state=state)
    case.refresh_from_db()
    return case


def test_what_was_withdrawn_is_neither_shown_nor_kept_and_stays_on_record(store: Path) -> None:
    case = build.draft_case()
    found = made.looked_at(made.sent(case, made.stl()))
    assert len(kept(store)) == 2
    withdraw(cast.assistant(), case, found)
    made.looked_at(found)
    assert kept(store) == []
    assert not files_of(case).exists()
    assert made.roles(case) == set()
    with pytest.raises(NotFound):
        file_for(cast.assistant(), found.pk)
    [event] = [event for event in audit.trail(case) if event.verb == "withdrew a file"]
    assert event.after == {"attachment": found.pk, "sha256": found.sha256}


def test_what_another_case_has_too_stays_in_the_store(store: Path) -> None:
    first, second = (made.looked_at(made.sent(build.draft_case(), made.stl())) for _ in range(2))
    withdraw(cast.assistant(), first.case, first)
    made.looked_at(first)
    assert files.open_file(second.file).read() == made.stl()
    assert len(kept(store)) == 2


def test_the_database_keeps_a_withdrawn_file_as_it_is() -> None:
    found = made.sent(build.draft_case(), made.stl())
    withdraw(cast.assistant(), found.case, found)
    with pytest.raises(IntegrityError, match="append-only"), transaction.atomic():
        Attachment.objects.filter(pk=found.pk).update(withdrawn_at=None)


def test_a_file_is_withdrawn_once() -> None:
    found = made.sent(build.draft_case(), made.stl())
    withdraw(cast.assistant(), found.case, found)
    with pytest.raises(NotFound):
        withdraw(cast.assistant(), found.case, found)


def test_each_side_withdraws_its_own() -> None:
    case = build.signed_case()
    scan, design = made.sent(case, made.stl()), made.sent(case, made.ply(), "design", cast.technician())
    with pytest.raises(Forbidden, match="other side"):
        withdraw(cast.technician(), case, scan)
    with pytest.raises(Forbidden, match="other side"):
        withdraw(cast.assistant(), case, design)
    with pytest.raises(Forbidden):
        withdraw(cast.prescriber("southgate"), case, scan)
    assert files_of(case).count() == 2
    withdraw(cast.manager(), case, design)
    assert files_of(case).get() == scan


@pytest.mark.parametrize("state", [Case.State.RELEASED, Case.State.FINISHED, Case.State.PACKED])
def test_what_the_laboratory_works_by_stays(state: str) -> None:
    case = in_state(state)
    scan, photo = made.sent(case, made.stl()), made.sent(case, made.photo(), "photo_smile")
    with pytest.raises(Conflict, match="works by"):
        withdraw(cast.assistant(), case, scan)
    withdraw(cast.assistant(), case, photo)
    assert files_of(case).get() == scan


def test_what_went_with_the_case_stays_but_for_the_evaluation() -> None:
    case = build.signed_case()
    photo = made.sent(case, made.photo(), "photo_smile")
    Case.objects.filter(pk=case.pk).update(state=Case.State.SHIPPED, shipped_at=timezone.now())
    case.refresh_from_db()
    found = made.sent(case, made.photo("PNG"), "evaluation")
    with pytest.raises(Conflict, match="shipped"):
        withdraw(cast.assistant(), case, photo)
    withdraw(cast.assistant(), case, found)
    assert files_of(case).get() == photo


def test_what_was_shown_for_approval_stays() -> None:
    case = build.accepted_case()
    design = made.looked_at(made.sent(case, made.stl(), "design", cast.technician()))
    ask_approval(cast.technician(), case, "Please look.", design)
    with pytest.raises(Conflict, match="shown to the practice"):
        withdraw(cast.technician(), case, design)
    assert files_of(case).get() == design


def test_a_scan_of_a_signed_order_is_replaced_before_it_is_withdrawn() -> None:
    case = build.signed_case()
    first = made.looked_at(made.sent(case, made.stl()))
    second = made.sent(case, made.ply())
    for one in (first, second):
        with pytest.raises(Conflict, match="Send another one first") if one == first else nullcontext():
            withdraw(cast.assistant(), case, one)
    third = made.looked_at(made.sent(case, made.obj()))
    withdraw(cast.assistant(), case, first)
    assert files_of(case).get() == third


def test_a_refused_scan_is_withdrawn_at_once() -> None:
    case = build.signed_case()
    refused = made.settled(made.sent(case, made.stl_text()[:-40]))
    withdraw(cast.assistant(), case, refused)
    assert not files_of(case).exists()
