"""The kernel against the plain event loop, with the same draws: everything equal, in every replication."""

import pytest

from labqueue.engine import Shop, ShopError
from labqueue.engine.run import Books, run_replications
from tests.engine.oracle import Oracle
from tests.engine.random_shops import random_shop

REPLICATIONS = 3
SHOPS = 240


def compare(shop: Shop, books: Books, row: int, seed: int) -> int:
    """Compare one replication; returns the number of starts."""
    oracle = Oracle(shop, seed, row).run()
    assert books.completion[row].tolist() == oracle.completions()
    for i, name in enumerate(shop.stations):
        assert books.wait["starts"][row, :, i].sum() == oracle.started[name]
        assert books.wait["waited"][row, :, i].sum() == oracle.waited[name]
        assert books.use["waiting"][row, i] == oracle.queueing[name]
        assert books.use["busy"][row, i] == oracle.busy_at(name)
    for i in range(len(shop.resources)):
        assert books.work["busy"][row, i] == oracle.busy_of(i)
        assert [books.work["loads"][row, i], books.work["units"][row, i]] == oracle.loads[i]
    for i in range(len(shop.arrivals)):
        flow = books.flow[row, :, i]
        assert [flow["flow"].sum(), flow["finished"].sum(), flow["late"].sum()] == oracle.flow[i]
    return sum(oracle.started.values())


@pytest.mark.parametrize("block", range(8))
def test_every_replication_of_random_shops_is_equal(block: int) -> None:
    compared = starts = 0
    refused: list[str] = []
    for number in range(block * SHOPS // 8, (block + 1) * SHOPS // 8):
        try:
            shop = Shop.from_dict(random_shop(number))
        except ShopError as refusal:
            refused.append(str(refusal))
            continue
        _, books = run_replications(shop, REPLICATIONS, seed=number, threads=1)
        for row in range(REPLICATIONS):
            try:
                starts += compare(shop, books, row, seed=number)
            except AssertionError as difference:
                raise AssertionError(f"shop {number}, replication {row}: {difference}") from difference
            compared += 1
    assert all("free resource" in line or "units fit no load" in line for line in refused), refused
    assert compared >= REPLICATIONS * SHOPS // 8 // 2
    assert starts > 1000
