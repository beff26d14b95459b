"""Orders as they are looked at in these tests, and what is found in them."""

from collections.abc import Iterable
from typing import Any

from orders.check import examine
from orders.facts import ItemFacts, OrderFacts
from orders.findings import REASONED, Finding, Severity
from orders.intake import open_case
from orders.models import Case
from tests import cast
from tests.orders import build
from tests.orders.refusals import refused


def findings(case: Case | None = None, **facts: Any) -> list[Finding]:
    """Everything that is found in the usual order with these facts changed."""
    return examine(OrderFacts(**build.order(**facts)), cast.practice(), case).findings


def of(rule: str, **facts: Any) -> list[tuple[str, str]]:
    """What that rule finds: severity and field."""
    return [(str(one.severity), one.field) for one in findings(**facts) if one.rule == rule]


def in_piece(rule: str, *items: ItemFacts, **facts: Any) -> list[tuple[str, str]]:
    """What that rule finds in these pieces."""
    return of(rule, items=list(items), **facts)


def sentence(rule: str, **facts: Any) -> str:
    """The one sentence of that rule, as people read it."""
    (found,) = [one for one in findings(**facts) if one.rule == rule]
    return str(found)


def refuses(rule: str, field: str, words: str, *items: ItemFacts, **facts: Any) -> None:
    """The order is refused with the number of the rule and what would satisfy it, and nothing is written."""
    cast.assistant()
    with refused(field, words) as caught:
        open_case(cast.assistant(), **build.order(**({"items": list(items)} if items else {}), **facts))
    assert any(one.message.startswith(f"{rule}: ") and words in one.message for one in caught.value.faults)


def passes(*items: ItemFacts, **facts: Any) -> Case:
    """The order is taken as a draft, whatever is to be said of it."""
    given: dict[str, Any] = {"items": list(items)} if items else {}
    return build.draft_case(**given, **facts)


def loud(found: Iterable[Finding]) -> list[tuple[str, str]]:
    """Rule and severity of what stops an order or wants a reason."""
    quiet = (Severity.ASK, Severity.DEFAULT)
    return [(one.rule, str(one.severity)) for one in found if one.severity not in quiet]


def wanted(found: Iterable[Finding]) -> list[str]:
    """The rules that want a reason."""
    return [one.rule for one in found if one.severity in REASONED]
