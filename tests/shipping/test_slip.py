"""The case slip: what is read back from the PDF is what its facts say, and it scans."""

from copy import deepcopy
from pathlib import Path

import pytest

from shipping.papers import slip
from tests.base import pdf_reader
from tests.base.test_paper import HOSTILE, OTHER_SCRIPTS
from tests.shipping import samples
from tests.shipping.samples import texts, with_text

# No database is asked.
pytestmark = pytest.mark.once


def test_every_fact_is_on_one_page() -> None:
    facts = samples.slip()
    pdf = slip.pdf(facts)
    assert pdf_reader.pages(pdf) == 1
    printed = pdf_reader.letters(pdf)
    missing = [text for text in texts(facts) if "".join(text.split()) not in printed]
    assert missing == []
    assert slip.FOOT in pdf_reader.text(pdf)
    assert "Rx only" in slip.FOOT
    assert pdf_reader.title(pdf) == f"Case slip {facts['case']}"


def test_the_code_of_the_case_scans_from_a_label_printer(tmp_path: Path) -> None:
    facts = samples.slip()
    (code,) = pdf_reader.codes(pdf_reader.picture(slip.pdf(facts), tmp_path))
    assert code.text == facts["code"]
    assert pdf_reader.millimetres(code) >= 18


def test_no_price_is_on_the_slip() -> None:
    facts = samples.slip()
    printed = pdf_reader.text(slip.pdf(facts))
    assert "USD" not in printed
    assert "210.00" not in printed


def test_every_font_is_embedded() -> None:
    facts = samples.slip()
    embedded = pdf_reader.fonts(slip.pdf(facts))
    assert all(embedded.values()), embedded


def test_the_patient_is_not_in_the_properties_of_the_file() -> None:
    facts = samples.slip()
    assert facts["patient"] not in pdf_reader.title(slip.pdf(facts))
    assert facts["patient"].encode() not in slip.pdf(facts)


def test_the_same_facts_give_the_same_file() -> None:
    facts = samples.slip()
    assert slip.pdf(facts) == slip.pdf(deepcopy(facts))


@pytest.mark.parametrize("text", HOSTILE)
def test_hostile_text_is_printed_as_it_stands(text: str) -> None:
    facts = samples.slip()
    pdf = slip.pdf(with_text(facts, text))
    assert pdf_reader.letters(pdf).count("".join(text.split())) >= 20
    assert pdf_reader.pictures(pdf) == 0


@pytest.mark.parametrize("text", [*OTHER_SCRIPTS, "W" * 80, "two\nlines", ""])
def test_the_code_scans_whatever_stands_around_it(text: str, tmp_path: Path) -> None:
    facts = samples.slip()
    pdf = slip.pdf(with_text(facts, text))
    assert [code.text for code in pdf_reader.codes(pdf_reader.picture(pdf, tmp_path))] == [facts["code"]]


def test_the_longest_names_of_a_case_stay_on_one_page() -> None:
    facts = samples.slip()
    practice = {"name": "N" * 80, "address": "Address " * 25, "extra": "5" * 30}
    pieces = [{**piece, "implant": "S" * 40, "shade": "A" * 20} for piece in facts["pieces"]]
    assert pdf_reader.pages(slip.pdf({**facts, "practice": practice, "pieces": pieces})) == 1  # type: ignore[typeddict-item]


def test_a_box_with_many_pieces_goes_on_to_numbered_pages() -> None:
    facts = samples.slip()
    many = slip.pdf({**facts, "pieces": facts["pieces"] * 6})
    assert pdf_reader.pages(many) > 1
    assert f"page 1 of {pdf_reader.pages(many)}" in pdf_reader.text(many)
    assert pdf_reader.text(many).count("upper right central incisor") == 12
