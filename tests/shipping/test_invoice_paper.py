"""The printed invoice: what is read back from the PDF is what was billed."""

from copy import deepcopy

import pytest

from shipping.papers import invoice as paper
from tests.base import pdf_reader
from tests.base.test_paper import HOSTILE, OTHER_SCRIPTS
from tests.shipping import samples
from tests.shipping.samples import texts, with_text

# No database is asked.
pytestmark = pytest.mark.once


def test_every_fact_is_on_one_page() -> None:
    facts = samples.invoice()
    pdf = paper.pdf(facts)
    printed = pdf_reader.letters(pdf)
    assert pdf_reader.pages(pdf) == 1
    assert [text for text in texts(facts) if "".join(text.split()) not in printed] == []
    assert pdf_reader.title(pdf) == f"Invoice {facts['number']}"
    assert all(pdf_reader.fonts(pdf).values())


def test_the_sums_stand_under_the_lines() -> None:
    facts = samples.invoice()
    printed = pdf_reader.text(paper.pdf(facts))
    assert "Net 269.00" in printed
    assert "To be paid, USD 320.11" in printed
    assert "Tax 19 % 51.11" in printed


def test_the_patient_appears_by_code_and_not_in_the_properties() -> None:
    facts = samples.invoice()
    pdf = paper.pdf(facts)
    assert facts["patient"] in pdf_reader.text(pdf)
    assert facts["patient"] not in pdf_reader.title(pdf)


def test_the_same_facts_give_the_same_file() -> None:
    facts = samples.invoice()
    assert paper.pdf(facts) == paper.pdf(deepcopy(facts))


@pytest.mark.parametrize("text", HOSTILE)
def test_hostile_text_is_printed_as_it_stands(text: str) -> None:
    facts = samples.invoice()
    pdf = paper.pdf(with_text(facts, text))
    assert pdf_reader.letters(pdf).count("".join(text.split())) >= 10
    assert pdf_reader.pictures(pdf) == 0


@pytest.mark.parametrize("text", [*OTHER_SCRIPTS, "W" * 40, ""])
def test_other_text_does_not_break_it(text: str) -> None:
    facts = samples.invoice()
    assert pdf_reader.pages(paper.pdf(with_text(facts, text))) == 1


def test_many_lines_go_on_to_numbered_pages() -> None:
    facts = samples.invoice()
    many = paper.pdf({**facts, "lines": facts["lines"] * 30})
    assert pdf_reader.pages(many) > 1
    assert f"page 1 of {pdf_reader.pages(many)}" in pdf_reader.text(many)
    assert pdf_reader.text(many).count("Courier") == 30
