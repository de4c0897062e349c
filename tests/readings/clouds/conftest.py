"""Files to be read."""

from __future__ import annotations

import pytest


@pytest.fixture
def cloud(tmp_path):
    """Write a file as text or bytes; give its path."""

    def write(content, name="wall.xyz"):
        path = tmp_path / name
        path.write_bytes(content if isinstance(content, bytes) else content.encode())
        return path

    return write
