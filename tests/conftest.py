"""What holds for every test."""

from __future__ import annotations

from collections.abc import Iterator

import pytest


@pytest.fixture(autouse=True, scope="session")
def _own_cache_folder(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """Whoever runs the tests keeps their own cache as it was."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("XDG_CACHE_HOME", str(tmp_path_factory.mktemp("cache")))
        yield
