"""The chart of the teeth: where each stands, what it says, and that it means what was typed."""

import pytest
from django.test import Client

from orders import teeth
from orders.form.chart import LOWER, UPPER, rows
from orders.form.tooth import ToothForm
from tests import cast
from tests.orders.test_case_pages import text

NOTATIONS = list(teeth.Notation.values)


def tooth_form(**sent: str) -> ToothForm:
    """The form of one tooth with a product, as it was sent."""
    return ToothForm({"product": "crown", "crown_material": "zirconia_4y", **sent})


def meant(form: ToothForm) -> int:
    """The tooth that the form gives, in FDI."""
    assert form.is_valid(), form.errors
    (piece,) = form.pieces
    return teeth.read(piece.facts.tooth, piece.facts.notation)


def test_it_is_drawn_from_the_front() -> None:
    """The patient's right is on the left, and all 32 are there."""
    assert UPPER == (18, 17, 16, 15, 14, 13, 12, 11, 21, 22, 23, 24, 25, 26, 27, 28)
    assert LOWER == (48, 47, 46, 45, 44, 43, 42, 41, 31, 32, 33, 34, 35, 36, 37, 38)
    assert set(UPPER) | set(LOWER) == set(teeth.PERMANENT)


@pytest.mark.parametrize("notation", NOTATIONS)
def test_every_tooth_stands_there_in_the_practices_notation_with_its_words(notation: str) -> None:
    places = [place for _, there in rows(notation) for place in there]
    assert len(places) == 32
    for place in places:
        assert place.sign == teeth.sign(int(place.fdi), notation)
        assert place.words == teeth.words(int(place.fdi))
        assert teeth.read(place.sign, notation) == int(place.fdi)


@pytest.mark.parametrize("fdi", teeth.PERMANENT)
def test_what_is_chosen_is_what_is_meant_and_so_is_what_is_typed(fdi: int) -> None:
    assert meant(tooth_form(chart=str(fdi))) == fdi
    for notation in NOTATIONS:
        typed = {"tooth": teeth.sign(fdi, notation), "notation": notation}
        assert meant(tooth_form(**typed)) == fdi
        assert meant(tooth_form(chart=str(fdi), **typed)) == fdi


def test_both_at_once_mean_one_tooth_or_are_refused() -> None:
    form = tooth_form(chart="21", tooth="8", notation="universal")
    assert not form.is_valid()
    assert "The chart says another tooth" in str(form.errors["tooth"])


@pytest.mark.parametrize(
    ("sent", "fdi"),
    [
        ({"chart": "36", "tooth": "8", "notation": "universal"}, 36),
        ({"chart": "11", "tooth": "30", "notation": "universal"}, 46),
        ({"chart": "36", "tooth": "19", "notation": "universal"}, 36),
    ],
)
def test_on_a_saved_tooth_what_was_changed_counts(sent: dict[str, str], fdi: int) -> None:
    """Without a script, the other of the two still says what was saved."""
    saved = {"chart": "11", "tooth": "8", "notation": "universal"}
    form = ToothForm({"product": "crown", "crown_material": "zirconia_4y", **sent}, initial=saved)
    assert meant(form) == fdi


@pytest.mark.django_db
@pytest.mark.parametrize(("notation", "sign"), [("universal", "8"), ("fdi", "11"), ("palmer", "UR1")])
def test_a_screen_reader_hears_number_and_words(client: Client, notation: str, sign: str) -> None:
    cast.practice("southgate", notation=notation)
    client.force_login(cast.assistant("southgate"))
    page = text(client.get("/cases/new"))
    assert f'value="11" data-sign="{sign}"' in page
    assert f'<span class="unseen">{sign}, upper right central incisor</span>' in page
