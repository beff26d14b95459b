"""The tax rate as it stands in the environment: hundredths of a per cent, or one line that says what is wrong."""

import pytest

from labqueue.environment import Misconfigured, basis_points


@pytest.mark.parametrize(("given", "rate"), [("", 7), ("0", 0), ("825", 825), (" 1900 ", 1900), ("10000", 10_000)])
def test_a_rate_is_read(monkeypatch: pytest.MonkeyPatch, given: str, rate: int) -> None:
    monkeypatch.setenv("LAB_TAX_RATE", given)
    assert basis_points("LAB_TAX_RATE", 7) == rate


@pytest.mark.parametrize("given", ["8.25", "-1", "10001", "19 %", "nineteen", "²"])
def test_what_is_no_rate_stops_the_start(monkeypatch: pytest.MonkeyPatch, given: str) -> None:
    monkeypatch.setenv("LAB_TAX_RATE", given)
    with pytest.raises(Misconfigured, match=r"LAB_TAX_RATE: .*hundredths of a per cent"):
        basis_points("LAB_TAX_RATE", 0)
