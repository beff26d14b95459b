"""Teeth in three notations."""

import pytest

from labqueue.base.errors import Refusal
from orders import teeth

# Each quadrant from the midline outwards, in FDI, Universal and Palmer.
QUADRANTS = [
    ("11 12 13 14 15 16 17 18", "8 7 6 5 4 3 2 1", "UR"),
    ("21 22 23 24 25 26 27 28", "9 10 11 12 13 14 15 16", "UL"),
    ("31 32 33 34 35 36 37 38", "24 23 22 21 20 19 18 17", "LL"),
    ("41 42 43 44 45 46 47 48", "25 26 27 28 29 30 31 32", "LR"),
]
ALL = [
    (int(fdi), universal, f"{corner}{place}")
    for fdis, universals, corner in QUADRANTS
    for place, (fdi, universal) in enumerate(zip(fdis.split(), universals.split(), strict=True), start=1)
]


def test_there_are_32_teeth() -> None:
    assert sorted(fdi for fdi, _, _ in ALL) == sorted(teeth.PERMANENT)
    assert len(set(teeth.PERMANENT)) == 32


@pytest.mark.parametrize(("fdi", "universal", "palmer"), ALL)
def test_each_tooth_is_read_and_written_in_every_notation(fdi: int, universal: str, palmer: str) -> None:
    written = {"fdi": str(fdi), "universal": universal, "palmer": palmer}
    for notation, sign in written.items():
        assert teeth.sign(fdi, notation) == sign
        assert teeth.read(sign, notation) == fdi


@pytest.mark.parametrize(("fdi", "words"), [(11, "upper right central incisor"), (26, "upper left first molar")])
def test_teeth_in_words(fdi: int, words: str) -> None:
    assert teeth.words(fdi) == words


def test_no_two_teeth_share_their_words() -> None:
    assert len({teeth.words(tooth) for tooth in teeth.PERMANENT}) == 32


def test_a_tooth_is_shown_with_notation_and_words() -> None:
    assert teeth.shown(11, "universal") == "8 Universal, upper right central incisor"
    assert teeth.shown(34, "fdi") == "34 FDI, lower left first premolar"


@pytest.mark.parametrize("written", [" 8 ", "#8", "8"])
def test_universal_may_carry_its_sign(written: str) -> None:
    assert teeth.read(written, "universal") == 11


@pytest.mark.parametrize("written", ["1.1", "11", " 11"])
def test_fdi_may_carry_its_point(written: str) -> None:
    assert teeth.read(written, "fdi") == 11


def test_palmer_is_read_in_any_case() -> None:
    assert teeth.read("ur1", "palmer") == 11


def test_eighteen_numbers_mean_two_teeth() -> None:
    both = [n for n in range(1, 90) if n in teeth.PERMANENT and 1 <= n <= 32]
    assert len(both) == 18
    assert all(teeth.read(str(n), "fdi") != teeth.read(str(n), "universal") for n in both)


@pytest.mark.parametrize("notation", ["", "iso", "FDI"])
def test_a_bare_number_is_refused(notation: str) -> None:
    with pytest.raises(Refusal, match="in which notation") as caught:
        teeth.read("11", notation, "items.0.tooth")
    assert caught.value.faults[0].field == "items.0.tooth"


@pytest.mark.parametrize(
    ("written", "notation"),
    [
        *(("51", "fdi"), ("85", "fdi"), ("19", "fdi"), ("0", "universal"), ("33", "universal"), ("A", "universal")),
        *(("1.1", "universal"), ("3.2", "universal"), ("8.", "universal"), ("##8", "universal"), ("# 8", "universal")),
        *(("#11", "fdi"), ("1..1", "fdi"), (".11", "fdi"), ("11.", "fdi"), ("#UR1", "palmer"), ("UR.1", "palmer")),
        *(("UR9", "palmer"), ("XX1", "palmer"), ("", "fdi"), ("8" * 40, "fdi"), ("\u0661\u0661", "fdi")),
    ],
)
def test_what_is_no_permanent_tooth_is_refused(written: str, notation: str) -> None:
    with pytest.raises(Refusal, match="no permanent tooth"):
        teeth.read(written, notation)


def test_regions_of_the_mouth() -> None:
    front = [tooth for tooth in teeth.PERMANENT if teeth.is_anterior(tooth)]
    back = [tooth for tooth in teeth.PERMANENT if teeth.is_molar(tooth)]
    assert front == [11, 12, 13, 21, 22, 23, 31, 32, 33, 41, 42, 43]
    assert [tooth for tooth in back if teeth.is_third_molar(tooth)] == [18, 28, 38, 48]
    assert back == [16, 17, 18, 26, 27, 28, 36, 37, 38, 46, 47, 48]
