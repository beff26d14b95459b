"""The slip of a case with as many pieces as a prescription may have."""

from collections.abc import Callable

import pytest

from orders.checks import MOST_ITEMS
from orders.facts import ItemFacts
from shipping.papers import slip
from shipping.slip_facts import slip_facts
from tests.base import pdf_reader
from tests.orders.build import abutment, crown, screw_crown
from tests.shipping.build import packed

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize("pair", [(abutment, crown), (screw_crown,)])
def test_it_is_one_page(pair: tuple[Callable[..., ItemFacts], ...]) -> None:
    teeth = range(2, 2 + MOST_ITEMS // len(pair))
    items = [make(str(tooth), material="zirconia_3y") for tooth in teeth for make in pair]
    assert len(items) == MOST_ITEMS
    assert pdf_reader.pages(slip.pdf(slip_facts(packed(items=items)))) == 1
