"""Opening a case."""

from decimal import Decimal
from typing import Any

import pytest
import time_machine
from django.utils import timezone

from labqueue.base import audit
from labqueue.base.errors import Forbidden, Refusal
from orders.check import weighed
from orders.facts import ItemFacts
from orders.intake import open_case
from orders.models import Case
from tests import cast
from tests.orders import build
from tests.orders.refusals import refused

pytestmark = pytest.mark.django_db


def open_with(**facts: Any) -> Case:
    """Open the usual order with some facts changed."""
    return open_case(cast.assistant(), **build.order(**facts))


def test_a_draft_is_written_with_its_pieces() -> None:
    case = open_with(note="  Light contacts. ")
    draft = case.draft
    assert draft is not None
    assert (case.state, case.stage, case.patient_ref, case.current) == ("draft", "final", "K-2041", None)
    assert (case.practice.code, case.created_by) == ("northgate", cast.assistant())
    assert (draft.version, draft.note, draft.seat_at, draft.signed_at) == (1, "Light contacts.", case.seat_at, None)
    lower, upper = draft.items.all()
    assert (lower.line, lower.kind, lower.tooth, lower.retention, lower.platform) == (1, "abutment", 11, "screw", 430)
    assert (upper.line, upper.kind, upper.tooth, upper.retention) == (2, "crown", 11, "cement")
    assert (lower.system, upper.system, lower.shade, upper.shade) == (build.SYSTEM, "", "", build.SHADE)
    assert {lower.stage, upper.stage} == {"final"}


def test_a_draft_has_no_due_date_yet() -> None:
    case = open_with()
    assert (case.due_at, case.first_due_at) == (None, None)


def test_numbers_have_the_year_and_count() -> None:
    with time_machine.travel("2031-01-01T04:59:00Z", tick=False):
        last_year = open_with()
    with time_machine.travel("2031-01-01T05:01:00Z", tick=False):
        first, second = open_with(), open_with()
    assert [last_year.number, first.number, second.number] == ["3000001", "3100001", "3100002"]


def test_the_trail_begins_with_what_was_ordered() -> None:
    case = open_with()
    (event,) = audit.trail(case)
    assert (event.verb, event.actor, event.before) == ("opened", cast.assistant(), {})
    assert event.after["patient_ref"] == "K-2041"
    assert [item["tooth"] for item in event.after["items"]] == [11, 11]


def test_the_reference_is_kept_in_capitals() -> None:
    assert open_with(patient_ref=" k-2041").patient_ref == "K-2041"


def test_an_appointment_may_be_missing() -> None:
    assert open_with(seat_at=None).seat_at is None


def test_a_crown_may_go_on_an_abutment_in_place() -> None:
    case = open_with(items=[build.crown()])
    assert case.draft is not None
    assert case.draft.items.get().system == ""


def test_the_own_practice_may_be_repeated() -> None:
    assert open_with(practice="northgate").practice.code == "northgate"


def test_an_order_for_another_practice_is_refused() -> None:
    cast.practice("southgate")
    with refused("practice", "You order for northgate only"):
        open_with(practice="southgate")


def test_people_of_the_laboratory_cannot_order() -> None:
    manager = cast.manager()
    with refused("", "Only people of a practice", Forbidden):
        open_case(manager, **build.order())


def test_all_faults_are_told_at_once() -> None:
    cast.assistant()
    items = [build.abutment(notation="", material="pmma"), build.crown(shade="N" * 21)]
    with pytest.raises(Refusal) as caught:
        open_with(patient_ref="Anna", seat_at=timezone.now(), practice="elsewhere", items=items)
    fields = [fault.field for fault in caught.value.faults]
    assert fields == ["practice", "patient_ref", "items.0.tooth", "items.1.shade", "seat_at"]
    assert Case.objects.count() == 0


@pytest.mark.parametrize("name", ["Anna", "1980-03-12", ""])
def test_a_name_or_a_date_is_no_reference(name: str) -> None:
    cast.assistant()
    with refused("patient_ref", "Never a name"):
        open_with(patient_ref=name)


@pytest.mark.parametrize("stage", ["", "temporary"])
def test_an_unknown_stage_is_refused(stage: str) -> None:
    cast.assistant()
    with refused("stage", "provisional or final"):
        open_with(stage=stage)


def crowns(count: int) -> list[ItemFacts]:
    """That many crowns, each on a tooth of its own."""
    return [build.crown(str(tooth), material="zirconia_3y") for tooth in range(2, 2 + count)]


def test_a_prescription_has_as_many_pieces_as_the_slip_has_room_for() -> None:
    case = open_with(items=crowns(8))
    assert case.draft is not None
    assert case.draft.items.count() == 8


@pytest.mark.parametrize("count", [0, 9])
def test_an_order_has_pieces_but_not_without_end(count: int) -> None:
    cast.assistant()
    with refused("items", "at least one piece and at most 8. Open another case"):
        open_with(items=crowns(count))


def test_a_long_note_is_refused() -> None:
    cast.assistant()
    with refused("note", "501 characters; 500 is the most"):
        open_with(note="n" * 501)


def test_an_appointment_that_has_passed_is_refused() -> None:
    cast.assistant()
    with refused("seat_at", "has passed. The first day that the usual working days allow is"):
        open_with(seat_at=build.seat_in(-1))


def test_an_appointment_for_which_it_is_too_late_is_refused() -> None:
    cast.assistant()
    with (
        time_machine.travel("2031-03-05T15:00:00Z", tick=False),
        refused("seat_at", "the case had to leave the laboratory on Tue 4 Mar, 16:30. The first day"),
    ):
        open_with(seat_at=build.seat_in(1))


@pytest.mark.parametrize("facts", [{"shade": ""}, {"tooth": "33"}, {"notation": ""}])
def test_the_first_possible_day_is_right_beside_other_faults(facts: dict[str, Any]) -> None:
    cast.assistant()
    with (
        time_machine.travel("2031-03-05T15:00:00Z", tick=False),
        refused("seat_at", "The first day that the usual working days allow is Mon 17 Mar."),
    ):
        open_with(seat_at=build.seat_in(1), items=[build.screw_crown(**facts)])


def test_a_tight_appointment_is_taken() -> None:
    with time_machine.travel("2031-03-05T15:00:00Z", tick=False):
        assert open_with(seat_at=build.seat_in(3)).state == "draft"


@pytest.mark.parametrize(
    ("facts", "field", "words"),
    [
        ({"notation": ""}, "tooth", "in which notation"),
        ({"tooth": "33"}, "tooth", "no permanent tooth in Universal"),
        ({"tooth": "51", "notation": "fdi"}, "tooth", "no permanent tooth in FDI"),
        ({"material": "pmma"}, "material", "not possible for a final one-piece crown"),
        ({"material": "gold"}, "material", "“gold” is no material here. Possible: pmma"),
        ({"material": ""}, "material", "Choose the material"),
        ({"retention": "cement"}, "retention", "screw-retained or angulated screw channel"),
        ({"retention": "glue"}, "retention", "“glue” is no retention here"),
        ({"connection": "bayonet"}, "connection", "is no connection here"),
        ({"platform": Decimal("1.99")}, "platform", "from 2 to 8 mm"),
        ({"platform": Decimal("8.01")}, "platform", "from 2 to 8 mm"),
        ({"platform": Decimal("4.305")}, "platform", "to the hundredth"),
        ({"platform": Decimal("NaN")}, "platform", "from 2 to 8 mm"),
        ({"platform": Decimal("1e40")}, "platform", "from 2 to 8 mm"),
        ({"shade": "A" * 21}, "shade", "more than 20 characters"),
        ({"system": "S" * 41}, "system", "more than 40 characters"),
        ({"layered": True}, "layered", "Only a final crown on an abutment"),
    ],
)
def test_each_fault_of_a_piece_names_its_field(facts: dict[str, Any], field: str, words: str) -> None:
    cast.assistant()
    with refused(f"items.1.{field}", words):
        open_with(items=[build.crown("9"), build.screw_crown(**facts)])


@pytest.mark.parametrize("retention", ["screw", "angled_screw"])
def test_a_crown_on_an_abutment_is_cemented(retention: str) -> None:
    cast.assistant()
    with refused("items.0.retention", "For a screw-retained crown order a one-piece crown"):
        open_with(items=[build.crown(retention=retention)])


def test_an_abutment_is_screwed() -> None:
    cast.assistant()
    with refused("items.0.retention", "This piece, abutment, is screw-retained."):
        open_with(items=[build.abutment(retention="cement")])


def test_an_abutment_needs_no_shade() -> None:
    assert open_with(items=[build.abutment(shade="")]).state == "draft"


def test_an_angled_channel_is_for_one_piece_crowns() -> None:
    case = open_with(items=[build.screw_crown(retention="angled_screw")])
    assert case.draft is not None
    assert case.draft.items.get().retention == "angled_screw"


def test_a_provisional_material_on_a_final_is_refused() -> None:
    cast.assistant()
    with refused(
        "items.0.material",
        "V04: PMMA is not possible for a final abutment on a titanium base. "
        "Possible: Zirconia 3Y; Titanium alloy in one piece.",
    ):
        open_with(items=[build.abutment(material="pmma")])


def test_what_has_no_way_of_making_is_refused() -> None:
    cast.assistant()
    with refused("items.0.material", "This laboratory makes no abutment of lithium disilicate."):
        open_with(items=[build.abutment(material="lithium_disilicate")])


def test_only_zirconia_is_layered_here() -> None:
    cast.assistant()
    with refused("items.0.material", "Choose a zirconia frame"):
        open_with(items=[build.crown(material="lithium_disilicate", layered=True)])


def test_a_provisional_is_never_layered() -> None:
    cast.assistant()
    with refused("items.0.layered", "Only a final crown"):
        open_with(stage="provisional", items=[build.crown(material="zirconia_4y", layered=True)])


def test_what_is_unusual_is_taken_as_a_draft() -> None:
    case = open_with(items=[build.screw_crown("32", material="zirconia_5y", connection="multi_unit")])
    assert case.draft is not None
    found = [(one.rule, one.severity) for one, reason in weighed(case, case.draft) if reason is None]
    assert found == [("V04", "warn"), ("V10", "warn"), ("V12", "warn"), ("tooth", "warn")]


def test_what_is_missing_is_taken_as_a_draft() -> None:
    assert open_with(items=[build.screw_crown(system=" ", connection="", platform=None, shade="")]).state == "draft"


@pytest.mark.parametrize(
    ("items", "words"),
    [
        ([build.abutment(), build.screw_crown()], "a one-piece crown is abutment and crown in one"),
        ([build.screw_crown(), build.crown()], "a one-piece crown is abutment and crown in one"),
        ([build.crown(), build.crown(shade="N3")], "ordered twice"),
        ([build.crown(), build.crown("11", notation="fdi")], "ordered twice"),
    ],
)
def test_pieces_that_cannot_be_on_one_tooth(items: list[ItemFacts], words: str) -> None:
    cast.assistant()
    with refused("items.1.kind", words):
        open_with(items=items)


def test_pieces_on_several_teeth_keep_their_order() -> None:
    case = open_with(items=[build.screw_crown("30"), build.crown("8"), build.abutment("8")])
    assert case.draft is not None
    assert [(item.line, item.tooth, item.kind) for item in case.draft.items.all()] == [
        (1, 46, "screw_crown"),
        (2, 11, "crown"),
        (3, 11, "abutment"),
    ]
