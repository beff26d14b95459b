"""The table of rules itself: all twenty, each with its severity and moment, each reason short enough to be kept."""

from collections import defaultdict

from orders.findings import REASONED, Moment
from orders.models import Reason
from orders.rules import RULES
from orders.rules.look import Look

NUMBERED = {
    "V01": {("refuse", "order")},
    "V02": {("refuse", "floor")},
    "V03": {("refuse", "floor")},
    "V04": {("refuse", "order"), ("warn", "order")},
    "V05": {("refuse", "release")},
    "V06": {("refuse", "order"), ("refuse", "confirm")},
    "V07": {("refuse", "design")},
    "V08": {("override", "order"), ("warn", "order")},
    "V09": {("override", "order"), ("warn", "order")},
    "V10": {("warn", "order")},
    "V11": {("refuse", "order"), ("warn", "order")},
    "V12": {("warn", "order")},
    "V13": {("warn", "order")},
    "V14": {("warn", "order")},
    "V15": {("warn", "order")},
    "V16": {("hold", "sign")},
    "V17": {("refuse", "order"), ("warn", "order")},
    "V18": {("refuse", "order"), ("hold", "order"), ("warn", "order")},
    "V19": {("refuse", "floor")},
    "V20": {("warn", "order")},
}


def test_all_twenty_with_what_they_do_and_when() -> None:
    found = defaultdict(set)
    for rule in RULES:
        found[rule.id].add((str(rule.severity), str(rule.moment)))
    assert {name: rows for name, rows in found.items() if name.startswith("V")} == NUMBERED


def test_each_row_is_there_once_and_says_what_it_demands() -> None:
    assert len({(rule.id, rule.severity, rule.moment) for rule in RULES}) == len(RULES)
    assert all(10 < len(rule.what) < 70 for rule in RULES)


def test_a_reason_fits_to_every_rule_that_wants_one() -> None:
    longest = Reason._meta.get_field("rule").max_length
    assert longest is not None
    assert all(len(rule.id) <= longest for rule in RULES if rule.severity in REASONED)


def test_the_moments_of_an_order_look_at_orders() -> None:
    whole = {rule.moment for rule in RULES if rule.about is Look}
    assert whole == {Moment.ORDER, Moment.SIGN, Moment.RELEASE}
