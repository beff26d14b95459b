"""Scanned codes: what the check digit finds, measured over every code, and how a misread one is refused."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from labqueue.base.codes import check_digit, read, with_check
from labqueue.base.errors import Refusal

ALL_OF_FOUR = [with_check(f"{number:03d}") for number in range(1000)]


def is_good(code: str) -> bool:
    """Whether the last digit is the check digit of the others."""
    return check_digit(code[:-1]) == code[-1]


def test_the_check_digit_is_the_standards() -> None:
    # 0794 with check digit 5 is the example in ISO/IEC 7064.
    assert check_digit("0794") == "5"
    assert with_check("0794") == "07945"


def test_every_single_wrong_digit_is_found() -> None:
    wrong = [
        code[:place] + digit + code[place + 1 :]
        for code in ALL_OF_FOUR
        for place in range(4)
        for digit in "0123456789"
        if digit != code[place]
    ]
    assert len(wrong) == 1000 * 4 * 9
    assert not [code for code in wrong if is_good(code)]


def test_44_of_45_swaps_of_neighbours_are_found() -> None:
    swapped = [
        code[:place] + code[place + 1] + code[place] + code[place + 2 :]
        for code in ALL_OF_FOUR
        for place in range(3)
        if code[place] != code[place + 1]
    ]
    passed = [code for code in swapped if is_good(code)]
    assert len(swapped) == 2700
    assert len(passed) == len(swapped) / 45


@given(st.text("0123456789", min_size=1, max_size=18))
def test_a_code_reads_back(digits: str) -> None:
    assert read(with_check(digits), len(digits) + 1) == digits


@pytest.mark.parametrize("typed", ["07945", " 0794-5\r\n", "0 7 9 4 5", "0794\t5"])
def test_white_space_and_hyphens_are_passed_over(typed: str) -> None:
    assert read(typed, 5) == "0794"


@pytest.mark.parametrize("typed", ["", "0794", "079455", "O7945", "٠٧٩٤٥", "07945x", "-", "²7945"])
def test_what_is_no_code_is_refused(typed: str) -> None:
    with pytest.raises(Refusal) as caught:
        read(typed, 5, field="scan")
    (fault,) = caught.value.faults
    assert (fault.code, fault.field) == ("code", "scan")
    assert "it has 5 digits" in fault.message


def test_a_misread_code_is_refused() -> None:
    with pytest.raises(Refusal, match=r"Code 07946 was misread: its check digit is wrong\. Scan it again\.") as caught:
        read("07946", 5)
    assert caught.value.faults[0].field == "code"


def test_a_long_text_is_not_repeated_in_full() -> None:
    with pytest.raises(Refusal) as caught:
        read("9" * 100_000, 8)
    assert len(str(caught.value)) < 200
