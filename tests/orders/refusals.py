"""That something is refused, with a clear word at the right field, and that nothing was written."""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import pytest
from django.db import models

from labqueue.base.errors import Refusal
from labqueue.base.models import Chain, Event, Series
from orders.models import Case, Item, Message, Prescription, Reason

Tables = tuple[type[models.Model], ...]
TABLES: Tables = (Case, Prescription, Item, Reason, Message, Event, Chain, Series)


def everything(tables: Tables) -> dict[str, list[dict[str, Any]]]:
    """All rows of these tables."""
    return {table.__name__: list(table._default_manager.order_by("pk").values()) for table in tables}


@contextmanager
def refused(
    field: str, words: str, kind: type[Refusal] = Refusal, also: Tables = ()
) -> Iterator[pytest.ExceptionInfo[Refusal]]:
    """What is done within is refused with a fault at `field` that says `words`, and leaves nothing behind.

    `also` are tables beside those of the cases that must stay as they are.
    """
    before = everything(TABLES + also)
    with pytest.raises(kind) as caught:
        yield caught
    assert caught.type is kind
    faults = {(fault.field, fault.message) for fault in caught.value.faults}
    assert any(at == field and words in message for at, message in faults), faults
    assert everything(TABLES + also) == before
