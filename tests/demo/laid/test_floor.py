"""The demonstration's floor: pieces, steps and scans agree with each other and with the rules of production."""

import pytest
from django.db.models import Count, Exists, F, OuterRef, Q

from labqueue.base.models import Event
from labqueue.production.finish import work_left
from labqueue.production.models import LotUse, Scan, Station, WorkItem, WorkStep
from labqueue.production.pieces import code_of
from orders.models import Case, Item, Prescription
from tests.demo.laid.conftest import NOW

pytestmark = pytest.mark.django_db
FLOOR = ("released", "finished", "packed", "shipped")
DONE, RUNNING, WAITING = WorkStep.State.DONE, WorkStep.State.RUNNING, WorkStep.State.WAITING


def test_every_state_of_a_step_occurs_and_has_its_scans() -> None:
    steps = WorkStep.objects.annotate(starts=Count("scans", Q(scans__action="start")), all=Count("scans"))
    kinds = set(steps.values_list("state", "starts", "all").distinct().order_by())
    assert kinds == {(DONE, 1, 2), (RUNNING, 1, 1), (WAITING, 0, 0)}


def test_scans_say_what_the_steps_say() -> None:
    starts, ends = Scan.objects.filter(action="start"), Scan.objects.filter(action="done")
    assert starts.count() > 20_000
    assert not starts.exclude(occurred_at=F("step__started_at"), by=F("step__started_by")).exists()
    assert not ends.exclude(occurred_at=F("step__done_at"), by=F("step__done_by")).exists()
    assert not Scan.objects.exclude(item=F("step__item"), station=F("step__station")).exists()
    assert not Scan.objects.exclude(received_at=F("occurred_at")).exists()


def test_every_scan_is_told_on_the_chain_of_its_case() -> None:
    events = Event.objects.filter(chain__name__startswith="orders.case:", verb="scanned")
    told = {(e.at, e.actor_id, e.after["piece"], e.after["action"], e.after["station"]) for e in events}
    scans = Scan.objects.values_list("occurred_at", "by", "item__code", "action", "station__code")
    assert told == set(scans)


def test_steps_follow_each_other_and_none_is_ahead_of_one_that_waits() -> None:
    assert not WorkStep.objects.filter(done_at__lt=F("started_at")).exists()
    earlier = WorkStep.objects.filter(item=OuterRef("item"), seq__lt=OuterRef("seq"))
    unfinished = earlier.filter(Q(done_at=None) | Q(done_at__gt=OuterRef("started_at")))
    begun = WorkStep.objects.filter(started_at__isnull=False)
    assert begun.filter(Exists(earlier)).count() > 20_000
    assert not begun.filter(Exists(unfinished)).exists()


def test_each_step_is_one_of_the_route_of_its_piece() -> None:
    assert not WorkStep.objects.exclude(plan__route=F("item__route")).exists()
    assert not WorkStep.objects.exclude(station=F("plan__station"), seq=F("plan__seq")).exists()
    items = WorkItem.objects.annotate(here=Count("steps", distinct=True), there=Count("route__steps", distinct=True))
    assert not items.exclude(here=F("there")).exists()


def test_pieces_are_those_of_the_prescription_under_their_own_codes() -> None:
    items = {(item.prescription_id, item.line): item for item in Item.objects.all()}
    wrong = []
    for piece in WorkItem.objects.select_related("case", "route"):
        item = items.pop((piece.prescription_id, piece.line))
        facts = [(one.kind, one.tooth, one.material, one.shade) for one in (piece, item)]
        if facts[0] != facts[1] or piece.code != code_of(piece.case, piece.line) or piece.route.make != item.make:
            wrong.append(piece.code)
    assert wrong == []
    on_floor = Prescription.objects.filter(pk__in={pk for pk, _ in items}, case__state__in=FLOOR)
    assert not on_floor.exists()
    assert not WorkItem.objects.exclude(prescription=F("case__current")).exists()


def test_a_crown_is_fitted_only_once_its_abutment_is_through() -> None:
    steps = WorkStep.objects.exclude(station__kind__in=(Station.Kind.QUALITY, Station.Kind.PACKING))
    abutment = steps.filter(
        item__kind="abutment", item__case=OuterRef("item__case"), item__tooth=OuterRef("item__tooth")
    )
    too_early = abutment.filter(Q(done_at=None) | Q(done_at__gt=OuterRef("started_at")))
    fitted = WorkStep.objects.filter(plan__joins=True, started_at__isnull=False)
    assert fitted.filter(Exists(abutment)).count() > 500
    assert not fitted.filter(Exists(too_early)).exists()


def test_nothing_is_packed_before_its_case_is_finished() -> None:
    packing = WorkStep.objects.filter(station__kind="packing", started_at__isnull=False)
    assert packing.exists()
    assert not packing.filter(Q(started_at__lt=F("item__case__finished_at")) | Q(item__case__finished_at=None)).exists()


def test_nothing_is_scanned_while_its_case_is_on_hold() -> None:
    """Neither while it waited for an answer, nor now."""
    events = Event.objects.filter(chain__name__startswith="orders.case:").order_by("chain", "seq")
    held: dict[int, bool] = {}
    wrong = []
    for chain, verb in events.values_list("chain", "verb"):
        if verb == "scanned" and held.get(chain):
            wrong.append(chain)
        held[chain] = verb == "put on hold" or (held.get(chain, False) and verb != "resumed")
    assert wrong == []
    assert sum(held.values()) == Case.objects.filter(held_since__isnull=False).count() > 0


def test_cases_stand_where_the_rules_of_production_put_them() -> None:
    """On the floor while there is work left before packing, finished or beyond once there is none."""
    left = WorkStep.objects.exclude(state=DONE).exclude(station__kind=Station.Kind.PACKING).values("item__case")
    assert not Case.objects.filter(state="released").exclude(pk__in=left).exists()
    assert not Case.objects.filter(state__in=("finished", "packed", "shipped"), pk__in=left).exists()
    for state in ("released", "finished"):
        assert [c for c in Case.objects.filter(state=state)[:5] if work_left(c) != (state == "released")] == []


def test_pieces_are_in_the_box_when_every_step_is_done() -> None:
    left = WorkStep.objects.exclude(state=DONE).values("item")
    assert not WorkItem.objects.filter(state="done", pk__in=left).exists()
    assert not WorkItem.objects.filter(state="open").exclude(pk__in=left).exists()
    assert not WorkItem.objects.filter(case__state__in=("packed", "shipped")).exclude(state="done").exists()
    assert not WorkItem.objects.filter(case__state__in=("draft", "signed", "accepted", "cancelled")).exists()


def test_each_step_took_the_lot_that_its_route_asks_for() -> None:
    fits = Q(lot__what=F("step__plan__takes")) | Q(step__plan__takes="material", lot__what=F("item__material"))
    assert not LotUse.objects.exclude(fits).exists()
    takers = WorkStep.objects.exclude(state=WAITING).exclude(plan__takes="")
    assert set(LotUse.objects.values_list("step", flat=True)) == set(takers.values_list("pk", flat=True))
    assert LotUse.objects.count() == takers.count() > 5000
    assert not LotUse.objects.filter(lot__expires__lte=NOW.date()).exists()


def test_people_scan_where_they_work() -> None:
    """Shipping packs and nobody else does; nobody scans who is not of the laboratory."""
    scans = Scan.objects.values_list("station__code", "by__role").distinct()
    packing = {role for station, role in scans if station == "packing"}
    assert packing == {"shipping"}
    assert {role for station, role in scans if station != "packing"} == {"technician"}
