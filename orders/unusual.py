"""What is unusual about a piece: nothing is refused for it, but the practice and the laboratory weigh it."""

from collections.abc import Iterator

from orders import teeth
from orders.materials import Connection, verdict


def warning(stage: str, kind: str, material: str, tooth: int, layered: bool, connection: str) -> str:
    """Everything that is to be weighed before such a piece is made; empty where it is usual."""
    return " ".join(filter(None, (verdict(stage, kind, material, tooth, layered).why, *place(tooth, connection))))


def place(tooth: int, connection: str) -> Iterator[str]:
    """What is unusual about where the piece goes."""
    if teeth.is_third_molar(tooth):
        yield f"The {teeth.words(tooth)} is rarely restored on an implant. Check that this tooth is meant."
    if connection == Connection.MULTI_UNIT:
        yield "At multi-unit abutment level nothing keeps a single piece from turning. Check the connection."
