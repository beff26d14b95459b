"""The first pages of the people of the laboratory: each with that person's work of today."""

import re
from datetime import datetime, timedelta

import pytest
import time_machine
from django.utils import timezone

from labqueue.base.models import OutboxRow
from labqueue.base.roles import Role
from labqueue.home import in_danger
from labqueue.production.release import release
from labqueue.production.stop import stop
from orders.hold import hold
from orders.models import Case
from orders.signoff import amend, sign
from orders.talk.answer import answer
from tests import cast
from tests.orders import build as orders
from tests.orders.talk.build import asked_case
from tests.production import build as floor
from tests.production.test_release import amended_case
from tests.shipping import build as shipping
from tests.top.firstpage import browser, forecast, foresee, page, part, text

pytestmark = pytest.mark.django_db


def test_a_technician_sees_the_pieces_in_hand_and_not_those_of_others() -> None:
    mine, other = floor.piece(floor.released_case()), floor.piece(floor.released_case())
    floor.send(mine, "intake")
    floor.send(other, "intake", cast.user("tom", Role.TECHNICIAN))
    hands = part(page(cast.technician()), "mine")
    assert f"Crown on an abutment {mine.code}" in hands
    assert "Intake" in hands
    assert other.code not in hands


def test_a_piece_leaves_the_hands_when_it_is_done_or_its_case_is_cancelled() -> None:
    done, ended = floor.piece(floor.released_case()), floor.piece(floor.released_case())
    for item in (done, ended):
        floor.send(item, "intake", action="start")
    floor.send(done, "intake", action="done", occurred_at=timezone.now() + timedelta(minutes=1))
    stop(cast.manager(), ended.case, "No longer wanted")
    assert "Nothing started" in part(page(cast.technician()), "mine")


def test_a_technician_sees_the_benches_in_the_order_of_the_stations_with_their_work() -> None:
    case = floor.released_case()
    floor.send(floor.piece(case), "intake")
    benches = part(page(cast.technician()), "benches")
    names = [station["name"] for station in cast.laboratory()["stations"]]
    places = [benches.index(name) for name in names]
    assert places == sorted(places)
    assert "Intake 1 waiting 1 in work" in benches
    assert "Design 0 waiting" in benches
    assert "/bench/intake" in page(cast.technician())


def test_a_technician_sees_what_leaves_next_but_not_what_stands_still() -> None:
    later, sooner, held = (floor.released_case(seat_at=orders.seat_in(n)) for n in (30, 20, 10))
    hold(cast.technician(), held, "Bite record missing")
    urgent = part(page(cast.technician()), "urgent")
    assert urgent.index(sooner.number) < urgent.index(later.number)
    assert held.number not in urgent


def test_a_manager_sees_what_is_to_be_decided() -> None:
    signed, accepted, released = orders.signed_case(), orders.accepted_case(), floor.released_case()
    held = hold(cast.manager(), orders.accepted_case(), "Bite record missing")
    draft = orders.draft_case()
    html = page(cast.manager())
    found = {heading: part(html, heading) for heading in ("accept", "release", "held", "danger")}
    where = {
        case.number: [heading for heading, section in found.items() if case.number in section]
        for case in (signed, accepted, released, held, draft)
    }
    assert list(where.values()) == [["accept"], ["release"], [], ["held"], []]
    assert "Bite record missing" in found["held"]


def test_a_manager_calls_practices_that_did_not_answer_by_appointment() -> None:
    days = timedelta(days=2)
    later, question = asked_case("Which screw?", ago=days, seat_at=orders.seat_in(30))
    sooner, _ = asked_case("Which shade?", ago=days, seat_at=orders.seat_in(20))
    none, _ = asked_case("Which collar?", ago=days, seat_at=None)
    fresh, _ = asked_case("Which bite?", ago=days - timedelta(minutes=1))
    calls = part(page(cast.manager()), "to-call")
    places = [calls.index(words) for words in (sooner.number, "Which shade?", later.number, none.number)]
    assert places == sorted(places)
    assert fresh.number not in calls
    assert "Northgate Dental 555 0100 Which screw?" in calls
    assert f'href="/cases/{later.number}#talk"' in page(cast.manager())
    assert 'href="tel:5550100"' in page(cast.manager())
    answer(cast.manager(), later, question, "The long one, says the assistant.")
    assert later.number not in part(page(cast.manager()), "to-call")


def test_nobody_is_called_before_the_time_or_by_others() -> None:
    assert "To be called" not in page(cast.manager())
    asked_case(ago=timedelta(days=3))
    assert "To be called" in page(cast.manager())
    assert [person for person in (cast.technician(), cast.shipper()) if "To be called" in page(person)] == []


def test_a_manager_sees_the_counts_and_comes_to_their_lists() -> None:
    orders.signed_case()
    orders.accepted_case()
    for _ in range(2):
        foresee(floor.released_case(), 0.5)
    html = page(cast.manager())
    tiles = re.findall(r'<dt>([^<]+)</dt><dd><a href="([^"]+)">(\d+)</a>', html)
    assert tiles == [
        ("Waiting to be accepted", "/cases?state=signed", "1"),
        ("Accepted, not on the floor", "/cases?state=accepted", "1"),
        ("On the floor", "/cases?state=released", "2"),
        ("Late or at risk", "#danger", "2"),
        ("On hold", "#held", "0"),
    ]
    assert 'id="danger"' in html
    assert 'id="held"' in html


def test_a_manager_sees_the_cases_at_risk_the_worst_first() -> None:
    low, high, worst = (foresee(floor.released_case(), late) for late in (0.2, 0.3, 0.9))
    danger = part(page(cast.manager()), "danger")
    assert danger.index(worst.number) < danger.index(high.number)
    assert low.number not in danger


def test_what_is_late_already_is_listed_without_a_forecast_but_after_those_with_one() -> None:
    late, likely = orders.accepted_case(), foresee(orders.accepted_case(), 0.4)
    Case.objects.filter(pk=late.pk).update(due_at=timezone.now() - timedelta(hours=1))
    danger = part(page(cast.manager()), "danger")
    assert danger.index(likely.number) < danger.index(late.number)


def test_what_is_packed_is_in_danger_only_once_it_is_late() -> None:
    case = foresee(shipping.packed().case, 0.9)
    assert case.due_at is not None

    def dangerous(now: datetime) -> bool:
        return Case.objects.filter(in_danger(now)).exists()

    assert not dangerous(timezone.now())
    assert dangerous(case.due_at + timedelta(minutes=1))


def test_a_manager_sees_how_old_the_risks_are() -> None:
    assert "No forecast yet." in page(cast.manager())
    forecast(timedelta(minutes=7))
    assert "as it stood 7 min ago" in text(page(cast.manager()))


def test_the_bottleneck_is_asked_for_again_and_again_and_has_a_link_without_script() -> None:
    html = page(cast.manager())
    found = re.search(r'<section aria-labelledby="bottleneck">.*?</section>', html, re.DOTALL)
    assert found is not None
    assert 'hx-get="/planning/bottlenecks"' in found[0]
    assert 'hx-trigger="load, every 30s"' in found[0]
    assert 'href="/planning/stations"' in found[0]
    answer = browser(cast.manager()).get("/planning/bottlenecks", headers={"HX-Request": "true"})
    assert answer.status_code == 200
    assert "<!doctype" not in answer.content.decode()


def test_shipping_sees_what_is_to_be_packed_what_waits_and_what_has_left() -> None:
    finished, packed = floor.finished_case(), shipping.packed().case
    held = hold(cast.manager(), floor.finished_case(), "Shade is unclear")
    shipped = shipping.shipped().case
    html = page(cast.shipper())
    assert finished.number in part(html, "pack")
    assert held.number not in html
    assert packed.number in part(html, "packed")
    assert packed.number not in part(html, "pack")
    assert shipped.number not in html
    assert "1 box left today." in text(html)


def test_yesterdays_boxes_do_not_count_as_todays() -> None:
    shipping.shipped()
    with time_machine.travel(timezone.now() + timedelta(days=1)):
        assert "0 boxes left today." in text(page(cast.shipper()))


def test_the_administrator_sees_whether_the_service_is_well() -> None:
    cast.technician()
    cast.user("gone", Role.TECHNICIAN).delete()
    now = timezone.now()
    row = {"kind": "paper", "due_at": now}
    OutboxRow.objects.create(subject="paper:1", **row)
    OutboxRow.objects.create(subject="paper:2", **{**row, "due_at": now + timedelta(hours=1)})
    OutboxRow.objects.create(subject="paper:3", state="dead", error="The disk is full.", finished_at=now, **row)
    forecast(timedelta(minutes=3))
    html = page(cast.administrator())
    assert "Work waiting for a worker 1" in text(html)
    assert "People with the role technician 1" in text(html)
    assert "People with the role administrator 1" in text(html)
    assert "3 min ago" in text(html)
    assert "Paper of paper:3" in part(html, "dead")
    assert "The disk is full." in part(html, "dead")


def test_a_manager_sees_the_cases_whose_new_version_waits_for_release() -> None:
    case, same = floor.released_case(), floor.released_case()
    amended_case(case, note="Longer by half a millimetre")
    html = page(cast.manager())
    waiting = part(html, "changed")
    assert case.number in waiting
    assert same.number not in waiting
    release(cast.manager(), case)
    assert "New version to release" not in page(cast.manager())


def test_a_manager_sees_which_changed_prescriptions_wait_for_their_release() -> None:
    case, same = floor.released_case(), floor.released_case()
    assert part(page(cast.manager()), "changed") == ""
    amend(cast.prescriber(), case)
    sign(cast.prescriber(), case)
    section = part(page(cast.manager()), "changed")
    assert case.number in section
    assert same.number not in section
    release(cast.manager(), case)
    assert part(page(cast.manager()), "changed") == ""


def test_a_technician_sees_what_is_to_be_read_a_second_time() -> None:
    waits, done = orders.accepted_case(), orders.confirmed_case()
    alone = orders.accepted_case(items=[orders.crown()])
    found = part(page(cast.technician()), "to-confirm")
    assert waits.number in found
    assert done.number not in found
    assert alone.number not in found


def test_who_accepted_a_case_is_not_asked_to_read_it_again() -> None:
    case = orders.accepted_case()
    Case.objects.filter(pk=case.pk).update(accepted_by=cast.technician())
    assert part(page(cast.technician()), "to-confirm") == ""
    assert case.number in part(page(cast.user("tom", Role.TECHNICIAN)), "to-confirm")
