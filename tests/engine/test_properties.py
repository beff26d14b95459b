"""What holds in any shop, checked start by start in a plain event loop whose every figure equals the engine's."""

from hypothesis import HealthCheck, assume, event, given, settings
from hypothesis import strategies as st

from labqueue.engine import Shop, ShopError
from labqueue.engine.run import run_replications
from tests.engine.random_shops import random_shop
from tests.engine.test_oracle import compare
from tests.engine.watched import Watched

SHOPS = st.integers(min_value=10_000, max_value=10_000_000)


@settings(max_examples=120, derandomize=True, deadline=None, suppress_health_check=[HealthCheck.filter_too_much])
@given(number=SHOPS)
def test_no_start_breaks_a_rule_of_the_shop(number: int) -> None:
    """Work conservation, predecessors, capacity, opening hours, holds, loads, one draw for each try."""
    try:
        shop = Shop.from_dict(random_shop(number))
    except ShopError:
        assume(False)
    watched = Watched(shop, number, 0).run()
    event(f"{min(watched.starts_seen, 100) // 25 * 25} starts or more")
    assert watched.instants_seen > 0
    assert all(watched.job_is_consistent(piece) for piece in watched.pieces)
    _, books = run_replications(shop, 1, seed=number, threads=1)
    compare(shop, books, 0, seed=number)


@settings(max_examples=40, derandomize=True, deadline=None, suppress_health_check=[HealthCheck.filter_too_much])
@given(number=SHOPS, threads=st.integers(2, 4))
def test_any_shop_is_the_same_on_any_number_of_threads(number: int, threads: int) -> None:
    try:
        shop = Shop.from_dict(random_shop(number))
    except ShopError:
        assume(False)
    _, one = run_replications(shop, 60, seed=number, threads=1)
    _, many = run_replications(shop, 60, seed=number, threads=threads)
    assert (one.completion == many.completion).all()
    assert (one.wait == many.wait).all()
    assert (one.step_wait == many.step_wait).all()
