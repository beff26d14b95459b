"""The patient reference."""

import pytest

from orders.patients import reference_faults, tidy


@pytest.mark.parametrize("code", ["K-2041", "A1", "0000-A", "PX-7-2", "ABCDEFGH-1234567", "P20"])
def test_codes_that_are_taken(code: str) -> None:
    assert reference_faults(code) == []


def test_a_code_is_kept_in_capitals_without_spaces_around() -> None:
    assert tidy("  k-2041 ") == "K-2041"


@pytest.mark.parametrize(
    "text",
    [
        "",
        "K",
        "2041",
        "1980-03-12",
        "ANNA",
        "O'NEIL1",
        "ANNA SMITH 1",
        "K_1",
        "-K1",
        "ABCDEFGH-12345678",
        "K-2041\n",
        "ÄB1",
    ],
)
def test_what_is_no_code_is_refused_with_what_would_be(text: str) -> None:
    (fault,) = reference_faults(text)
    assert fault.field == "patient_ref"
    assert "such as K-2041" in fault.message
    assert "Never a name" in fault.message


@pytest.mark.parametrize("text", ["A19800312", "X-1980-03-12", "P12031980", "12MAR1980", "12-MARCH-80", "K31-12-1999"])
def test_a_code_that_holds_a_date_is_refused(text: str) -> None:
    (fault,) = reference_faults(text)
    assert fault.message.startswith("The reference seems to hold a date.")
