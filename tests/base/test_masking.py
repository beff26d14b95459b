"""What no log may hold."""

import logging
from io import StringIO
from logging.config import dictConfig
from typing import Any

import pytest
from django.conf import settings
from django.test import Client


@pytest.fixture
def console() -> Any:
    """What the handler of the settings prints."""
    handlers = [handler for handler in logging.getLogger().handlers if handler.get_name() == "console"]
    if not handlers:
        dictConfig(settings.LOGGING)
        handlers = [handler for handler in logging.getLogger().handlers if handler.get_name() == "console"]
    handler = handlers[0]
    assert isinstance(handler, logging.StreamHandler)
    printed = StringIO()
    before = handler.setStream(printed)
    yield printed
    if before is not None:
        handler.setStream(before)


@pytest.mark.django_db
@pytest.mark.parametrize("method", ["OPTIONS", "PROPFIND", "POST", "GET"])
def test_the_address_of_a_feed_is_in_no_log(method: str, console: StringIO) -> None:
    """Calendar programs probe with methods that are refused, and refusals are logged with their address."""
    Client().generic(method, "/feeds/secret-token-123.ics")
    logging.getLogger("labqueue").warning("%s came for %s", "somebody", "/feeds/secret-token-123.ics")
    assert "secret-token-123" not in console.getvalue()
    assert "came for /feeds/…" in console.getvalue()
