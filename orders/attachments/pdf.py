"""PDF: taken where it is whole and does nothing but show its pages."""

import mmap
import re

from orders.attachments.mesh import Unusable

# What a paper for a laboratory has no need of, and what to do about it.
UNWANTED = {
    b"JavaScript": "a program",
    b"JS": "a program",
    b"Launch": "a command",
    b"EmbeddedFile": "another file",
    b"EmbeddedFiles": "another file",
    b"RichMedia": "another file",
    b"Encrypt": "a password",
}


def spelled(name: bytes) -> bytes:
    """A name as it can stand in a PDF: each letter as itself or as `#` and its code."""
    return b"".join(b"(?:%c|#%02x|#%02X)" % (letter, letter, letter) for letter in name)


NAMES = re.compile(rb"/(" + b"|".join(spelled(name) for name in UNWANTED) + rb")(?![A-Za-z0-9#_.-])")


def check(data: bytes | mmap.mmap) -> None:
    """Raises Unusable for a part of a PDF and for one that holds more than pages.

    What stands in compressed objects is not seen, so a PDF is only ever handed out to be saved.
    """
    if b"%%EOF" not in data[-1024:]:
        raise Unusable("The PDF does not end as it should: a part of it is missing.")
    if found := NAMES.search(data):
        plain = re.sub(rb"#([0-9A-Fa-f]{2})", lambda code: bytes.fromhex(code[1].decode()), found[1])
        raise Unusable(f"The PDF holds {UNWANTED[plain]}. Print it to a new PDF and send that.")
