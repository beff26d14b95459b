"""The demonstration's cases: some in every state, numbered without gaps, signed and told as the verbs would have."""

from collections import Counter, defaultdict

import pytest
from django.db.models import Count, F, OuterRef, Prefetch, Q, Subquery
from django.utils import timezone

from labqueue.base import audit
from labqueue.base.models import Chain, Event, Series
from orders import seal
from orders.check import look_at
from orders.findings import REASONED, Moment, Severity
from orders.lifecycle import MOVES
from orders.models import OPEN_STATES, Case, Item, Prescription
from orders.rules import absent, hits
from orders.talk.stops import open_stops
from orders.trail import trail_of
from tests import cast

pytestmark = pytest.mark.django_db


def test_the_command_prints_nothing_where_it_is_told_so(said: str) -> None:
    assert said == ""


def test_cases_stand_in_every_state_and_some_wait_for_an_answer() -> None:
    states = Counter(Case.objects.values_list("state", flat=True))
    assert set(states) == set(Case.State.values)
    assert 120 <= sum(states[state] for state in OPEN_STATES) <= 180
    assert states["shipped"] > 1500
    assert Case.objects.filter(held_since__isnull=False, state="released").count() >= 3


def test_numbers_have_no_gap_and_the_series_go_on_behind_them() -> None:
    numbers = defaultdict(list)
    for number in Case.objects.order_by("created_at", "number").values_list("number", flat=True):
        numbers[number[:2]].append(int(number[2:]))
    assert set(numbers) == {"26", "27"}
    assert all(serials == list(range(1, len(serials) + 1)) for serials in numbers.values())
    series = dict(Series.objects.filter(name__startswith="case/").values_list("name", "last"))
    assert series == {f"case/{year}": len(serials) for year, serials in numbers.items()}


def test_no_case_comes_from_the_future() -> None:
    latest = Event.objects.latest("at").at
    assert latest <= timezone.now()
    assert Case.objects.latest("created_at").created_at <= timezone.now()


def test_every_signature_seals_what_is_stored() -> None:
    signed = Prescription.objects.filter(signed_at__isnull=False).select_related("case__practice")
    prescriptions = list(signed.prefetch_related(Prefetch("items", Item.objects.order_by("line"))))
    assert len(prescriptions) > 2000
    assert [one for one in prescriptions if one.hash != seal.seal(one.case, one)] == []


def test_what_is_signed_is_frozen_and_counts() -> None:
    signed_items = Item.objects.filter(prescription__signed_at__isnull=False)
    assert not signed_items.filter(frozen=False).exists()
    assert not Item.objects.filter(prescription__signed_at=None, frozen=True).exists()
    signed = Case.objects.exclude(state="draft")
    assert not signed.filter(Q(current__isnull=True) | Q(due_at__isnull=True)).exists()
    assert not signed.exclude(first_due_at=F("due_at")).exists()
    assert not Case.objects.filter(state="draft", current__isnull=False).exists()


def broken(prescription: Prescription) -> list[str]:
    """What is wrong with a version: refused, held, or signed without the reason that it wants."""
    look = look_at(prescription.case, prescription)
    found = [*hits(Moment.ORDER, look), *hits(Moment.RELEASE, look), *absent(look)]
    given = {(one.rule, one.line) for one in prescription.reasons.all()}
    stops = [one for one in found if one.severity in (Severity.REFUSE, Severity.HOLD)]
    wanted = [one for one in found if one.severity in REASONED and prescription.signed_at]
    return [str(one) for one in stops] + [str(one) for one in wanted if (one.rule, one.line) not in given]


def test_every_order_keeps_the_rules_of_the_trade() -> None:
    prescriptions = Prescription.objects.select_related("case__practice", "case__origin").prefetch_related(
        Prefetch("items", Item.objects.order_by("line")), "reasons__by"
    )
    wrong = {str(one): found for one in prescriptions if (found := broken(one))}
    assert wrong == {}


def test_due_dates_lie_behind_the_signature_and_before_the_appointment() -> None:
    signed = Case.objects.exclude(state="draft")
    assert not signed.filter(due_at__lte=F("current__signed_at")).exists()
    assert not signed.filter(due_at__gte=F("seat_at")).exists()


def test_every_chain_has_its_length_and_its_head() -> None:
    last = Event.objects.filter(chain=OuterRef("pk")).order_by("-seq").values("hash")[:1]
    heads = Chain.objects.annotate(count=Count("events"), last=Subquery(last))
    assert heads.count() > 5000
    assert not heads.exclude(length=F("count")).exists()
    assert not heads.exclude(hash=F("last")).exists()


def test_a_sample_of_every_kind_of_chain_verifies() -> None:
    chains = defaultdict(list)
    for chain in Chain.objects.order_by("pk"):
        chains[chain.name.split(":")[0]].append(chain)
    assert {"orders.case", "production.workitem", "shipping.delivery", "shipping.invoice"} <= set(chains)
    for those in chains.values():
        assert [broken for chain in those[:: len(those) // 25 + 1] if (broken := audit.verify(chain))] == []


def test_each_case_took_only_allowed_moves_to_where_it_is() -> None:
    states = {f"orders.case:{pk}": ["draft", state] for pk, state in Case.objects.values_list("pk", "state")}
    events = Event.objects.filter(chain__name__startswith="orders.case:").order_by("chain", "seq")
    wrong = []
    for name, before, after in events.values_list("chain__name", "before", "after"):
        if "state" not in after:
            continue
        if before["state"] != states[name][0] or after["state"] not in MOVES[before["state"]]:
            wrong.append((name, before, after))
        states[name][0] = after["state"]
    assert wrong == []
    assert {name: pair for name, pair in states.items() if pair[0] != pair[1]} == {}


def test_events_of_a_case_stand_in_the_order_of_time() -> None:
    before = Event.objects.filter(chain=OuterRef("chain"), seq=OuterRef("seq") - 1).values("at")
    assert not Event.objects.annotate(one_before=Subquery(before)).filter(one_before__gt=F("at")).exists()


def test_a_case_tells_its_story_as_people_read_it() -> None:
    case = Case.objects.filter(state="shipped").latest("shipped_at")
    lines = list(reversed(trail_of(case, cast.manager())))
    words = list(dict.fromkeys(line.what.split(" ")[0] for line in lines))
    assert words[:6] == ["Opened", "Signed", "Accepted", "Implant", "Laid", "Released"]
    assert [line.what for line in lines][-2:] == ["Packed", "Shipped"]
    assert any(line.what.startswith("Scanned: ") for line in lines)
    assert "the service" not in {line.by for line in lines}


def test_a_case_on_hold_says_since_when_and_for_what() -> None:
    for case in Case.objects.filter(held_since__isnull=False):
        assert [(one.text, one.at) for one in open_stops(case)] == [(case.hold_reason, case.held_since)]
        last = audit.trail(case)[-1]
        assert (last.verb, last.after["hold_reason"]) == ("put on hold", case.hold_reason)
        assert last.at == case.held_since
