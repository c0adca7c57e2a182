"""What is printed, as an answer: a PDF that the browser shows. Guarded by `tests/web/test_reeds.py`."""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

from starlette.concurrency import run_in_threadpool
from starlette.responses import Response

if TYPE_CHECKING:
    from collections.abc import Callable


async def printed(make: Callable[[Path], object], name: str) -> Response:
    """The PDF that `make` writes, under that name."""

    def made() -> bytes:
        with tempfile.TemporaryDirectory(prefix="canebench-") as folder:
            path = Path(folder) / "made.pdf"
            make(path)
            return path.read_bytes()

    return Response(
        await run_in_threadpool(made),
        media_type="application/pdf",
        headers={"content-disposition": f'inline; filename="{name}"'},
    )
