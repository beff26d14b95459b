"""Practices: taking one on, and changing its facts."""

from datetime import date
from typing import Any

import pytest
from django.db.models import ProtectedError

from labqueue.base import audit
from orders import due
from orders.models import Case, Practice
from orders.practices import PracticeFacts, add_practice, change_practice, time_zones
from tests import cast
from tests.orders import build
from tests.orders.refusals import Tables, refused

pytestmark = pytest.mark.django_db

PRACTICES: Tables = (Practice,)
WRONG = [
    ({"name": "  "}, "name", "Give the name"),
    ({"name": "n" * 81}, "name", "at most 80"),
    ({"address": ""}, "address", "Give the address"),
    ({"address": "a" * 201}, "address", "at most 200"),
    ({"phone": ""}, "phone", "Give the telephone number"),
    ({"phone": "5" * 31}, "phone", "at most 30"),
    ({"notation": ""}, "notation", "fdi, universal, palmer"),
    ({"notation": "roman"}, "notation", "Choose the notation"),
    ({"weekdays": ""}, "weekdays", "at least one weekday"),
    ({"weekdays": "017"}, "weekdays", "from Monday to Sunday"),
    ({"transit_days": -1}, "transit_days", "from 0 to 10"),
    ({"transit_days": 11}, "transit_days", "from 0 to 10"),
    ({"time_zone": ""}, "time_zone", "is no time zone"),
    ({"time_zone": "Europe/Nowhere"}, "time_zone", "“Europe/Nowhere” is no time zone"),
    ({"time_zone": "../etc/passwd"}, "time_zone", "is no time zone"),
    ({"parts": "nobody"}, "parts", "Choose one of laboratory, practice."),
    ({"pack": "moon"}, "pack", "Choose one of union, "),
    ({"time_zone": "localtime"}, "time_zone", "is no time zone"),
]


def facts(**changed: Any) -> PracticeFacts:
    """A practice far away that takes deliveries on three days, with some facts changed."""
    given = {"name": "Westbrook Dental", "address": "9 West Lane", "phone": "555 0199", "notation": "palmer"}
    way = {"weekdays": ["0", "2", "4"], "transit_days": 2, "time_zone": "Europe/Lisbon"}
    return PracticeFacts(**{**given, **way, **changed})


def test_a_new_practice() -> None:
    practice = add_practice(cast.administrator(), code=" Westbrook ", facts=facts(name=" Westbrook   Dental "))
    practice.refresh_from_db()
    assert (practice.code, practice.name, practice.notation) == ("westbrook", "Westbrook Dental", "palmer")
    assert (practice.weekdays, practice.transit_days, practice.time_zone) == ("024", 2, "Europe/Lisbon")
    (event,) = audit.trail(practice)
    assert (event.verb, event.actor, event.before) == ("added", cast.administrator(), {})
    assert (event.after["code"], event.after["weekdays"], event.after["transit_days"]) == ("westbrook", "024", 2)


def test_orders_of_a_new_practice_are_promised_by_its_way() -> None:
    add_practice(cast.administrator(), code="westbrook", facts=facts(time_zone="America/New_York"))
    way = due.way_to(Practice.objects.get(code="westbrook"))
    # There by Wednesday, the working day of the practice before Friday the 14th; two days before that is Monday.
    assert due.leave_by(way, date(2031, 3, 14)).isoformat() == "2031-03-10T20:30:00+00:00"


def test_weekdays_are_kept_once_and_in_order() -> None:
    assert add_practice(cast.administrator(), code="westbrook", facts=facts(weekdays="4204")).weekdays == "024"


@pytest.mark.parametrize(("wrong", "field", "words"), WRONG)
def test_what_is_refused_of_a_new_one(wrong: dict[str, Any], field: str, words: str) -> None:
    admin = cast.administrator()
    with refused(field, words, also=PRACTICES):
        add_practice(admin, code="westbrook", facts=facts(**wrong))


@pytest.mark.parametrize("code", ["", "w", "west brook", "-west", "a" * 13, "west_brook", "wést"])
def test_a_code_is_short_and_plain(code: str) -> None:
    admin = cast.administrator()
    with refused("code", "2 to 12 small letters", also=PRACTICES):
        add_practice(admin, code=code, facts=facts())


@pytest.mark.parametrize("code", ["northgate", "NORTHGATE"])
def test_a_code_belongs_to_one_practice(code: str) -> None:
    admin, _ = cast.administrator(), cast.practice("northgate")
    with refused("code", "already a practice with the code northgate", also=PRACTICES):
        add_practice(admin, code=code, facts=facts())


def test_all_faults_are_said_at_once() -> None:
    admin, _ = cast.administrator(), cast.practice("northgate")
    with refused("code", "already", also=PRACTICES) as caught:
        add_practice(admin, code="northgate", facts=facts(name="", weekdays="", time_zone="Moon/Sea"))
    assert [fault.field for fault in caught.value.faults] == ["code", "name", "weekdays", "time_zone"]


def test_changed_facts_with_what_was_there_before() -> None:
    practice = cast.practice()
    changed = change_practice(cast.administrator(), practice, facts(name=practice.name, notation="universal"))
    practice.refresh_from_db()
    assert (practice.phone, practice.weekdays, practice.time_zone) == ("555 0199", "024", "Europe/Lisbon")
    assert sorted(changed) == ["address", "phone", "time_zone", "transit_days", "weekdays"]
    (event,) = audit.trail(practice)
    assert (event.verb, event.actor, event.after) == ("changed", cast.administrator(), changed)
    assert (event.before["phone"], event.before["weekdays"]) == ("555 0100", "01234")


def test_where_nothing_changes_nothing_is_written() -> None:
    practice = add_practice(cast.administrator(), code="westbrook", facts=facts())
    assert change_practice(cast.administrator(), practice, facts(name="Westbrook  Dental ", weekdays="420")) == {}
    assert [event.verb for event in audit.trail(practice)] == ["added"]


@pytest.mark.parametrize(("wrong", "field", "words"), WRONG)
def test_what_is_refused_of_a_change(wrong: dict[str, Any], field: str, words: str) -> None:
    admin, practice = cast.administrator(), cast.practice()
    with refused(field, words, also=PRACTICES):
        change_practice(admin, practice, facts(**wrong))


def test_a_change_leaves_signatures_and_promises_as_they_are() -> None:
    case = build.signed_case()
    was = Case.objects.values_list("due_at", "first_due_at", "current__hash").get(pk=case.pk)
    change_practice(cast.administrator(), case.practice, facts(transit_days=5))
    assert Case.objects.values_list("due_at", "first_due_at", "current__hash").get(pk=case.pk) == was
    assert case.practice.code == "northgate"


def test_a_practice_with_people_is_not_deleted() -> None:
    practice = cast.prescriber().member.practice
    with pytest.raises(ProtectedError):
        practice.delete()


def test_the_time_zones_are_places() -> None:
    assert {"America/New_York", "Europe/Lisbon", "UTC"} <= set(time_zones())
    assert list(time_zones()) == sorted(time_zones())
    assert not {"localtime", "Factory", "posixrules"} & set(time_zones())
