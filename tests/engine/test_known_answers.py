"""The shops of fixtures/shops through the command line; each answer stands beside its shop, with the reason."""

import json
from pathlib import Path
from typing import Any

import pytest

from labqueue.engine.__main__ import main

SHOPS = Path(__file__).parents[2] / "fixtures" / "shops"
NAMES = sorted(path.name.removesuffix(".answer.json") for path in SHOPS.glob("*.answer.json"))


def compare(found: Any, expected: Any, within: float) -> None:
    """All that is expected is found; numbers within a relative error."""
    if isinstance(expected, dict):
        for key, value in expected.items():
            compare(found[key], value, within)
    elif isinstance(expected, float):
        assert found == pytest.approx(expected, rel=within, abs=1e-9)
    else:
        assert found == expected


@pytest.mark.parametrize("name", NAMES)
def test_the_answer_is_the_known_one(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main([str(SHOPS / f"{name}.json"), "--replications", "60", "--seed", "3"]) == 0
    forecast = json.loads(capsys.readouterr().out)
    answer = json.loads((SHOPS / f"{name}.answer.json").read_text(encoding="utf-8"))
    within = answer.get("within", 1e-9)
    jobs = {entry["id"]: entry for entry in forecast["jobs"]}
    for quantile in ("p05", "p50", "p95"):
        compare({key: entry["finish"][quantile] for key, entry in jobs.items()}, answer.get("finish", {}), within)
    for measure in ("late", "waits"):
        compare({key: entry[measure] for key, entry in jobs.items()}, answer.get(measure, {}), within)
    for section, key in (("stations", "name"), ("resources", "name"), ("arrivals", "route")):
        compare({entry[key]: entry for entry in forecast[section]}, answer.get(section, {}), within)


def test_there_are_shops_with_known_answers() -> None:
    assert len(NAMES) >= 5
    assert all((SHOPS / f"{name}.json").is_file() for name in NAMES)
