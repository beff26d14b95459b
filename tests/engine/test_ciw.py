"""The same shop as a Ciw network, with its own random numbers: the answers agree within their errors."""

from typing import Any

import pytest

from labqueue.engine import Shop, simulate
from labqueue.engine.benchmark.agreement import compare
from labqueue.engine.benchmark.ciw_shop import CiwShop
from labqueue.engine.benchmark.result import NotCovered
from labqueue.engine.benchmark.simpy_shop import SimpyShop
from labqueue.engine.benchmark.subset import subset
from tests.engine.shops import Document, step

RUNS = 25


@pytest.mark.parametrize("shifts", [False, True], ids=["always open", "in shifts"])
@pytest.mark.parametrize("kind", [CiwShop, SimpyShop])
def test_six_stations(kind: type[CiwShop] | type[SimpyShop], shifts: bool) -> None:
    shop = Shop.from_dict(subset(shifts) | {"warm_up_minutes": 700, "horizon_minutes": 6000})
    program = kind(shop)
    comparisons = compare(shop, simulate(shop, 1000, seed=5), [program.run(seed) for seed in range(RUNS)])
    for one in comparisons:
        print(f"{one.name}: {one.engine:.4g} {program.label} {one.witness:.4g} z {one.z:+.2f}")
    assert len(comparisons) == 6 + 2
    assert all(one.agrees for one in comparisons)


def test_a_longer_step_is_noticed() -> None:
    """The comparison has the power to see a tenth more work at one station."""
    changed = subset()
    for route in changed["routes"].values():
        route[-1]["minutes"] = {"uniform": [2.2, 8.8]}
    program = CiwShop(Shop.from_dict(changed))
    shop = Shop.from_dict(subset())
    comparisons = compare(shop, simulate(shop, 1000, seed=5), [program.run(seed) for seed in range(RUNS)])
    assert [one.name for one in comparisons if not one.agrees] == ["wait at packing"]


def changed(section: str, **entries: Any) -> Document:
    shop = subset()
    return shop | {section: shop[section] | entries if isinstance(shop[section], dict) else [*entries.values()]}


ARRIVAL = subset()["arrivals"][0]
PACKERS = {"stations": ["packing"], "calendar": "always"}


@pytest.mark.parametrize(
    ("shop", "words"),
    [
        (subset() | {"jobs": [{"id": "1", "route": "crown"}]}, "jobs"),
        (changed("stations", packing={"rule": "edd"}), "stations.packing"),
        (changed("resources", **{"packing hands": PACKERS | {"load": {"capacity": 4}}}), "stations.packing"),
        (changed("resources", **{"packing hands": PACKERS | {"calendar": "shift", "pauses": False}}), "shift"),
        (changed("routes", crown=[step("dry", None, 5)]), "pure waiting"),
        (changed("routes", crown=[step("a", "design", 5), step("b", "design", 5)]), "visited twice"),
        (changed("routes", crown=[step("a", "design", 5), step("b", "milling", 5, after=[])]), "side by side"),
        (changed("arrivals", one=ARRIVAL | {"between_minutes": 20}), "arrivals"),
        (changed("routes", crown=[step("a", "design", {"empirical": [1, 2]})]), "distribution"),
    ],
)
def test_what_ciw_cannot_state_is_refused(shop: Document, words: str) -> None:
    with pytest.raises(NotCovered, match=words):
        CiwShop(Shop.from_dict(shop))
