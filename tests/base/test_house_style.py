"""The stylesheet: every colour is a token, and every pair of tokens that meets can be read, in light and in dark."""

import re
from itertools import product
from pathlib import Path

import pytest

SHEET = Path(__file__).parents[2] / "labqueue" / "base" / "static" / "base" / "house.css"
CSS = re.sub(r"/\*.*?\*/", "", SHEET.read_text(), flags=re.S)

SURFACES = ("paper", "panel", "sunk")
SIGNS = ("accent", "good", "watch", "risk", "late")
WASHES = tuple(f"{sign}-wash" for sign in SIGNS)
TEXT, SHAPE = 4.5, 3.0

TEXT_PAIRS = [
    *product(("ink", "ink-soft", *SIGNS), SURFACES),
    *product(("ink", "ink-soft", "accent"), WASHES),
    *zip(SIGNS, WASHES, strict=True),
    ("on-accent", "accent"),
    ("on-late", "late"),
    ("paper", "ink"),
]
SHAPE_PAIRS = [*product(("edge", "focus"), SURFACES), *product(("edge", "focus"), WASHES)]


def colours(block: str) -> dict[str, str]:
    """The colour tokens that a block of declarations sets."""
    return dict(re.findall(r"--([a-z-]+):\s*(#[0-9a-f]{6});", block))


def schemes() -> dict[str, dict[str, str]]:
    """All colour tokens in light, in dark and on paper; dark and paper override light."""
    light, dark, paper = (colours(block) for block in re.findall(r":root\s*\{(.*?)\}", CSS, flags=re.S))
    return {"light": light, "dark": light | dark, "print": light | paper}


SCHEMES = schemes()


def luminance(colour: str) -> float:
    """Relative luminance of `#rrggbb` (WCAG 2.2)."""
    channels = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    """Contrast ratio of two colours, 1 to 21 (WCAG 2.2)."""
    darker, lighter = sorted((luminance(one), luminance(other)))
    return (lighter + 0.05) / (darker + 0.05)


def rules() -> list[tuple[str, str]]:
    """Selector and declarations of every rule."""
    found = re.findall(r"([^{}]+)\{([^{}]*)\}", CSS)
    return [(selector.strip(), body) for selector, body in found if ":root" not in selector]


def test_contrast_is_the_one_that_is_published() -> None:
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    assert contrast("#777777", "#ffffff") == pytest.approx(4.478, abs=0.001)
    assert contrast("#0000ff", "#ffffff") == pytest.approx(8.592, abs=0.001)


def test_all_three_schemes_are_found() -> None:
    assert SCHEMES["light"]["paper"] != SCHEMES["dark"]["paper"]
    assert SCHEMES["print"]["paper"] == "#ffffff"


def test_dark_sets_every_colour_anew() -> None:
    blocks = re.findall(r":root\s*\{(.*?)\}", CSS, flags=re.S)
    assert set(colours(blocks[0])) == set(colours(blocks[1]))


@pytest.mark.parametrize("scheme", SCHEMES)
@pytest.mark.parametrize(("text", "ground"), TEXT_PAIRS)
def test_text_can_be_read(scheme: str, text: str, ground: str) -> None:
    tokens = SCHEMES[scheme]
    assert contrast(tokens[text], tokens[ground]) >= TEXT


@pytest.mark.parametrize("scheme", SCHEMES)
@pytest.mark.parametrize(("shape", "ground"), SHAPE_PAIRS)
def test_controls_and_focus_can_be_seen(scheme: str, shape: str, ground: str) -> None:
    tokens = SCHEMES[scheme]
    assert contrast(tokens[shape], tokens[ground]) >= SHAPE


def test_pairs_written_in_one_rule_are_among_the_tested() -> None:
    met: set[tuple[str, str]] = set()
    for _, body in rules():
        text = re.search(r"(?<![-\w])color:\s*var\(--([a-z-]+)\)", body)
        ground = re.search(r"background(?:-color)?:\s*var\(--([a-z-]+)\)", body)
        if text and ground:
            met |= set(product([text[1]], WASHES if ground[1] == "wash" else [ground[1]]))
    assert met
    assert met <= set(TEXT_PAIRS)


def test_no_colour_outside_the_tokens() -> None:
    for selector, body in rules():
        assert not re.search(r"#[0-9a-f]{3,8}\b|\b(rgb|hsl|oklch)a?\(", body), selector


def test_every_token_that_is_used_is_set() -> None:
    used = set(re.findall(r"var\(--([a-z0-9-]+)", CSS))
    assert used <= set(re.findall(r"--([a-z0-9-]+):", CSS))


def test_nothing_comes_from_another_host() -> None:
    assert "url(" not in CSS
    assert "@import" not in CSS


@pytest.mark.parametrize(
    "feature", ["prefers-color-scheme: dark", "prefers-reduced-motion", "forced-colors: active", "print"]
)
def test_the_person_s_settings_are_honoured(feature: str) -> None:
    assert re.search(rf"@media \(?{feature}\)?", CSS)
