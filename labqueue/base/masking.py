"""What no log may hold."""

import logging
import re

# Whoever has the address of a calendar feed may read it.
FEED = re.compile(r"/feeds/[^\s?\"']+")


class WithoutFeedAddresses(logging.Filter):
    """Masks the addresses of calendar feeds in every line; lets all lines through."""

    def filter(self, record: logging.LogRecord) -> bool:
        """The record as one text without arguments, where it names an address."""
        text = record.getMessage()
        if "/feeds/" in text:
            record.msg, record.args = FEED.sub("/feeds/…", text), ()
        return True
