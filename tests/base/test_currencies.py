"""The list of currencies."""

from labqueue.base.currencies import EXPONENTS, FOUR, NONE, THREE, TWO


def test_codes_are_three_capital_letters_and_stand_once() -> None:
    codes = " ".join([NONE, TWO, THREE, FOUR]).split()
    assert len(codes) == len(EXPONENTS) > 150
    assert all(len(code) == 3 and code.isascii() and code.isalpha() and code.isupper() for code in codes)


def test_each_has_its_decimals() -> None:
    assert [EXPONENTS[code] for code in ("JPY", "XOF", "USD", "EUR", "OMR", "CLF")] == [0, 0, 2, 2, 3, 4]


def test_what_is_no_money_any_more_is_left_out() -> None:
    assert not {"DEM", "HRK", "XXX", "XTS", "XAU", "ABC"} & set(EXPONENTS)
