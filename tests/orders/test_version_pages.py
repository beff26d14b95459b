"""One version of a prescription, whole, as it was signed."""

import pytest
from django.db import connection

from orders.models import Case
from orders.signoff import amend, sign
from tests import cast
from tests.orders import build
from tests.orders.test_api import Program
from tests.orders.test_case_pages import browser, text

pytestmark = pytest.mark.django_db


def twice() -> Case:
    """A case with two signed versions: the second has another shade and a note."""
    from orders.intake import edit_draft

    case = build.signed_case(patient_ref="K-5")
    amend(cast.assistant(), case)
    items = [build.abutment(), build.crown(shade="N3")]
    edit_draft(cast.assistant(), case, **build.order(patient_ref="K-5", seat_at=case.seat_at, items=items, note="New."))
    sign(cast.prescriber(), Case.objects.get(pk=case.pk))
    return Case.objects.get(pk=case.pk)


def test_every_version_is_read_as_it_was_signed() -> None:
    case = twice()
    first, second = (text(browser(cast.manager()).get(f"/cases/{case.number}/versions/{n}")) for n in (1, 2))
    assert "As it was signed" in first
    assert "As it was signed" in second
    assert f"<dd>{build.SHADE}</dd>" in first
    assert "<dd>N3</dd>" in second
    assert "Disinfected with</dt><dd>Peracetic acid" in first
    assert "licence D-1001" in first
    assert f"shade {build.SHADE} → N3" in second
    assert "What it changed of version 1" in second
    assert f"shade {build.SHADE} → N3" in first, "what changed since"
    assert "Note: none → “New.”" in first


def test_the_case_leads_to_its_versions() -> None:
    case = twice()
    page = text(browser(cast.assistant()).get(f"/cases/{case.number}"))
    for number in (1, 2):
        assert f'href="/cases/{case.number}/versions/{number}"' in page


def test_what_was_tampered_with_is_not_what_was_signed() -> None:
    """The trigger is lifted as only somebody with the database in hand could."""
    case = build.signed_case()
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            cursor.execute("DROP TRIGGER IF EXISTS orders_item_no_update")
        else:
            cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
            cursor.execute("ALTER TABLE orders_item DISABLE TRIGGER USER")
        cursor.execute("UPDATE orders_item SET shade = 'N9' WHERE kind = 'crown'")
    page = text(browser(cast.manager()).get(f"/cases/{case.number}/versions/1"))
    assert "Not what was signed" in page
    assert "Make nothing by it" in page
    assert Program(cast.manager()).ask("GET", f"/{case.number}/versions/1").json()["sealed"] is False


def test_programs_read_a_version_with_what_it_changed() -> None:
    case = twice()
    said = Program(cast.manager()).ask("GET", f"/{case.number}/versions/2").json()
    assert (said["version"], said["sealed"]) == (2, True)
    assert any(f"shade {build.SHADE} → N3" in line for line in said["differences"])
    assert Program(cast.manager()).ask("GET", f"/{case.number}/versions/1").json()["differences"] == []


def test_what_is_not_signed_or_not_there_is_no_version() -> None:
    case = build.draft_case()
    assert browser(cast.assistant()).get(f"/cases/{case.number}/versions/1").status_code == 404
    signed = build.signed_case(patient_ref="K-6")
    assert browser(cast.assistant("southgate")).get(f"/cases/{signed.number}/versions/1").status_code == 404
    assert Program(cast.manager()).ask("GET", f"/{signed.number}/versions/2").status_code == 404
