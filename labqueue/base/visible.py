"""What can be seen of a text: the rest counts for nothing where something must be said."""

import unicodedata

# The categories of Unicode that nobody sees: format (zero-width spaces, marks of direction) and control.
UNSEEN = frozenset({"Cf", "Cc"})


def seen(text: str) -> str:
    """What can be seen of a text, on one line and without needless spaces: empty where it says nothing."""
    left = (one for one in text if one.isspace() or unicodedata.category(one) not in UNSEEN)
    return " ".join("".join(left).split())
