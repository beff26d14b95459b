"""Life goes on after the demonstration was laid: orders, scans, boxes, invoices and forecasts by the real verbs."""

import logging
from collections import Counter
from uuid import uuid4

import pytest
from django.apps import apps
from django.core.management import CommandError, call_command
from django.utils import timezone

from labqueue.base import audit
from labqueue.base.models import Chain, Event, Series, User
from labqueue.base.roles import LABORATORY, Role
from labqueue.planning import floor, shop
from labqueue.production import reads
from labqueue.production.lots import needed
from labqueue.production.models import LotInUse, Scan, Station
from labqueue.production.release import release
from labqueue.production.scan import scan
from labqueue.serve import people
from orders.acceptance import accept
from orders.hold import resume
from orders.models import Case, Member, Practice
from orders.signoff import sign
from shipping.box import put_in
from shipping.dispatch import dispatch
from shipping.models import Invoice
from shipping.packing import pack
from tests.orders import build

pytestmark = pytest.mark.django_db


def person(name: str) -> User:
    """Somebody of the demonstration."""
    return User.objects.get(username=name)


def verified(case: Case) -> bool:
    """Whether what was done now stands well behind what was told of before."""
    return audit.verify(Chain.objects.get(name=audit.chain_name(case))) is None


def test_a_second_time_it_is_refused_and_all_is_as_it_was() -> None:
    def rows() -> dict[str, int]:
        return {kind._meta.label: kind._default_manager.count() for kind in apps.get_models()}

    before, head = rows(), Event.objects.latest("pk").hash
    with pytest.raises(CommandError, match=r"This database is in use: it holds people, practices, stations"):
        call_command("demo", verbosity=0)
    assert rows() == before
    assert Event.objects.latest("pk").hash == head


def test_the_next_order_takes_the_next_numbers_through_the_whole_house() -> None:
    last = Series.objects.get(name="case/27").last
    case = build.draft_case(person("practice"))
    assert case.number == f"27{last + 1:05d}"
    sign(person("practice"), case)
    accept(person("manager"), case)
    build.confirm_all(case, person("technician"))
    pieces = release(person("manager"), case)
    assert [piece.code[:9] for piece in pieces] == [f"{case.number}01", f"{case.number}02"]
    assert verified(case)


def test_a_piece_is_scanned_on_at_every_bench_that_has_one() -> None:
    scanned = []
    for station in Station.objects.all():
        line = next((line for line in reads.queue(station) if not line.is_stopped), None)
        if line is None:
            continue
        result = scan(person("technician"), key=uuid4(), code=line.item.code, station=station.code)
        assert not result.repeated
        assert result.scan.action == ("done" if line.running else "start")
        assert verified(line.case)
        scanned.append(station.code)
    assert {"intake", "design", "milling", "finishing", "quality"} <= set(scanned)
    assert Scan.objects.filter(by=person("technician"), received_at=timezone.now()).count() <= len(scanned)


def test_a_held_case_goes_on_once_it_is_resumed() -> None:
    case = Case.objects.filter(held_since__isnull=False, state="released").latest("pk")
    resume(person("manager"), case)
    piece = next(item for item in reads.floor_of(case) if item.state == "open")
    step = piece.steps.exclude(state="done").select_related("station").order_by("seq")[0]
    result = scan(person("technician"), key=uuid4(), code=piece.code, station=step.station.code)
    assert (result.scan.step, result.repeated) == (step, False)
    assert verified(case)


def test_a_finished_case_is_packed_and_sent_with_the_next_invoice() -> None:
    last = Series.objects.get(name="invoice/2027").last
    case = Case.objects.filter(state="finished", held_since=None).latest("pk")
    for piece in reads.floor_of(case):
        put_in(person("shipping"), case, piece.code)
    pack(person("shipping"), case)
    dispatch(person("shipping"), case, "Harbour Courier")
    assert Invoice.objects.get(delivery__case=case).number == f"INV-2027-{last + 1:05d}"
    assert verified(case)


def test_a_box_that_is_packed_leaves_with_its_invoice() -> None:
    case = Case.objects.filter(state="packed").earliest("pk")
    dispatch(person("shipping"), case, "Harbour Courier")
    assert Invoice.objects.get(delivery__case=case).gross_minor > 0


def test_planning_states_the_whole_shop(caplog: pytest.LogCaptureFixture) -> None:
    with caplog.at_level(logging.WARNING):
        stated = shop.state(floor.look(timezone.now()))
    assert stated.left_out == {}
    assert [record.getMessage() for record in caplog.records] == []
    open_cases = Case.objects.filter(state__in=floor.FORECAST_STATES)
    assert {job.id for job in stated.shop.jobs} == set(open_cases.values_list("number", flat=True))
    assert len(stated.shop.arrivals) >= 5


def test_a_lot_of_everything_is_in_use_where_it_is_needed() -> None:
    wanted = {(station.pk, what) for station in Station.objects.all() for what in needed(station)}
    assert set(LotInUse.objects.values_list("station", "what")) == wanted
    told = Event.objects.filter(chain__name__startswith="production.station:", verb="lot put into use")
    assert told.count() == len(wanted)


def test_nobody_has_a_password_until_they_are_made() -> None:
    assert [user.username for user in User.objects.all() if user.has_usable_password()] == []
    sign_ins = people.one_per_role()
    assert [one.role for one in sign_ins] == list(Role)
    assert all(person(one.username).check_password(one.password) for one in sign_ins)


def test_the_people_are_26_and_each_practice_has_its_own() -> None:
    roles = Counter(User.objects.values_list("role", flat=True))
    assert sum(roles[role] for role in LABORATORY) == 26 + roles[Role.ADMIN]
    assert roles[Role.ADMIN] == roles[Role.MANAGER] == 1
    for practice in Practice.objects.all():
        members = Member.objects.filter(practice=practice)
        assert [member.may_sign for member in members.order_by("-may_sign")] == [True, False]
    names = list(User.objects.values_list("first_name", "last_name"))
    assert len(set(names)) == len(names)
    licences = list(Member.objects.filter(may_sign=True).values_list("licence_number", flat=True))
    assert len(set(licences)) == len(licences) == Practice.objects.count()
