"""A store of each test's own."""

from pathlib import Path

import pytest
from pytest_django import Settings


@pytest.fixture(autouse=True)
def store(settings: Settings, tmp_path: Path) -> Path:
    """Where files are kept; gives that folder."""
    settings.STORAGE_DIR = tmp_path
    (tmp_path / "incoming").mkdir()
    settings.FILE_UPLOAD_TEMP_DIR = str(tmp_path / "incoming")
    return tmp_path
