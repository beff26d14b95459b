"""What can be seen of a text."""

import pytest

from labqueue.base.visible import seen


@pytest.mark.parametrize(
    ("text", "what"),
    [
        ("  Brücke \t 歯\r\n🦷 ", "Brücke 歯 🦷"),
        ("\u200b" * 3, ""),
        ("\ufeff \u2060\x07 \u202e", ""),
        ("N\u200b2,\u200e \u00ad as\x1b before", "N2, as before"),
    ],
)
def test_only_what_can_be_seen_is_left(text: str, what: str) -> None:
    assert seen(text) == what
