"""What people write to each other."""

from labqueue.base.errors import refuse
from labqueue.base.visible import seen

LENGTH = 1000


def tidy(text: str) -> str:
    """A text line by line: what can be seen of each, without needless spaces."""
    return "\n".join(map(seen, text.splitlines())).strip()


def written(text: str) -> str:
    """A tidy text that says something. Raises Refusal where it does not, or has no end."""
    words = tidy(text)
    if not 1 <= len(words) <= LENGTH:
        raise refuse("text", f"Write in 1 to {LENGTH} characters what is to be said.", "text")
    return words
