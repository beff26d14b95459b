"""A real headless Chromium. An error on its console, such as a breach of the security policy, fails the test."""

import shutil
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.conf import settings
from django.test import Client
from playwright.sync_api import BrowserContext, Page
from pytest_django.live_server_helper import LiveServer

from labqueue.base.models import User

NewContext = Callable[..., BrowserContext]
FLAGS = [
    *("--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage", "--no-first-run", "--disable-sync"),
    *("--disable-background-networking", "--disable-component-update"),
]


class Console(list[str]):
    """What the browser complained about. `expect` takes back what a test provokes on purpose."""

    def expect(self, part: str) -> None:
        """There must be complaints that hold `part`; they are forgiven."""
        assert any(part in line for line in self), f"no complaint holds {part!r}: {self}"
        self[:] = [line for line in self if part not in line]


@pytest.fixture(scope="session")
def browser_type_launch_args() -> dict[str, Any]:
    """The system's Chromium instead of a downloaded one."""
    return {"executable_path": shutil.which("chromium"), "args": FLAGS}


@pytest.fixture(scope="session")
def base_url(live_server: LiveServer) -> str:
    """So that `page.goto("/")` reaches the running service."""
    return live_server.url


@pytest.fixture
def console_errors() -> Iterator[Console]:
    """All complaints of all pages of this test; none may be left at its end."""
    console = Console()
    yield console
    assert not console, "the browser complained:\n" + "\n".join(console)


@pytest.fixture
def new_context(new_context: NewContext, console_errors: Console, transactional_db: None) -> NewContext:
    """As of pytest-playwright: `new_context(**options)`; each context is watched."""

    def watched(**options: Any) -> BrowserContext:
        context = new_context(**options)
        context.on("console", lambda m: console_errors.append(m.text) if m.type in ("error", "warning") else None)
        context.on("weberror", lambda e: console_errors.append(str(e.error)))
        return context

    return watched


@pytest.fixture
def signed_in(new_context: NewContext, base_url: str) -> Callable[..., Page]:
    """`signed_in(user, **options)`: a page in a browser of its own, in which `user` is signed in."""

    def open_page(user: User, **options: Any) -> Page:
        client = Client()
        client.force_login(user)
        context = new_context(**options)
        session = client.cookies[settings.SESSION_COOKIE_NAME].value
        context.add_cookies([{"name": settings.SESSION_COOKIE_NAME, "value": session, "url": base_url}])
        return context.new_page()

    return open_page


@pytest.fixture
def axe() -> Callable[[Page], None]:
    """`axe(page)` fails on any violation of the accessibility rules."""

    def check(page: Page) -> None:
        results = Axe().run(page)
        assert results.violations_count == 0, results.generate_report()

    return check
