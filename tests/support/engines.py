"""The engines beside Chromium's, each in a machine without a microphone."""

from __future__ import annotations

from contextlib import contextmanager
from typing import TYPE_CHECKING

import pytest

from support.firefox import FIREFOX, NO_FIREFOX, running_firefox
from support.webkit import NO_WEBKIT, running_webkit, webkit_is_here

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from support.webdriver import DrivenBrowser


@contextmanager
def running_engine(name: str, folder: Path) -> Iterator[DrivenBrowser]:
    """The one of this name, with an empty folder to itself; a test of one that is not here is left out."""
    if name == "firefox":
        if not FIREFOX.exists():
            pytest.skip(NO_FIREFOX)
        nowhere = {"PULSE_SERVER": f"unix:{folder}/nowhere"}
        with running_firefox(folder, {"media.navigator.permission.disabled": True}, nowhere) as found:
            yield found
    else:
        if not webkit_is_here():
            pytest.skip(NO_WEBKIT)
        with running_webkit(folder) as found:
            yield found
