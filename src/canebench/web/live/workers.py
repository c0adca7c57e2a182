"""Who listens for all streams: processes for estimates, one for whole analyses, threads for the disk.

One more process is for what takes long besides: a large file that is looked over or brought in.

A stream stays with one process, which keeps its listener; analyses give way to estimates. Processes start
with the first stream that needs them. Guarded by `tests/web/test_streams.py`; figures in
`benchmarks/stream.py`.
"""

from __future__ import annotations

import os
import time
from concurrent.futures import BrokenExecutor, ProcessPoolExecutor, ThreadPoolExecutor
from functools import partial
from multiprocessing import get_context, parent_process
from threading import Lock, Thread
from typing import TYPE_CHECKING, Final, TypeVar

from canebench.bench.views.live.listen import hear_closely

if TYPE_CHECKING:
    from collections.abc import Callable
    from concurrent.futures import Future
    from multiprocessing.process import BaseProcess

    from canebench.sound.analysis.section import Closely
    from canebench.sound.dsp.decimation import Section

Given = TypeVar("Given")

#: So many analyses may wait at once; a stream that finds no room hears later.
_MOST_ANALYSES: Final = 1


class Workers:
    """What all streams share."""

    def __init__(self) -> None:
        self.disk = ThreadPoolExecutor(4, thread_name_prefix="disk")
        self.streams = 0
        self._estimates: list[ProcessPoolExecutor] = []
        self._analyses: ProcessPoolExecutor | None = None
        self._aside: ProcessPoolExecutor | None = None
        self._lock = Lock()
        self._waiting = 0
        self._analysis_s = 0.0

    def for_next_stream(self) -> ProcessPoolExecutor:
        """The process that the next stream stays with; each core gets one in turn."""
        most = max(1, os.cpu_count() or 1)
        if len(self._estimates) < min(most, self.streams + 1):
            self._estimates.append(_process(_with_its_parent))
        self.streams += 1
        return self._estimates[(self.streams - 1) % len(self._estimates)]

    @property
    def room(self) -> bool:
        """Whether another analysis may begin."""
        return self._waiting < _MOST_ANALYSES

    @property
    def turn_s(self) -> float:
        """After one analysis of a stream, so long until its next: that of every other comes between, s."""
        return self.streams * self._analysis_s

    def hear(self, section: Section) -> Future[Closely]:
        """Begin an analysis."""
        try:
            future = self._hearers().submit(hear_closely, section)
        except BrokenExecutor:
            self._analyses = None
            future = self._hearers().submit(hear_closely, section)
        self._waiting += 1
        future.add_done_callback(partial(self._ended, time.monotonic()))
        return future

    def _hearers(self) -> ProcessPoolExecutor:
        if self._analyses is None:
            self._analyses = _process(_give_way)
        return self._analyses

    def aside(self, call: Callable[..., Given], *given: object) -> Given:
        """What takes long and nobody hears, in a process of its own that gives way: pages do not wait for it.

        For a thread that may wait; one after the other. Call, what it is given and what comes of it go from
        process to process.
        """
        try:
            return self._set_aside().submit(call, *given).result()
        except BrokenExecutor:
            # Such as one that had no memory left; the next begins anew.
            with self._lock:
                self._aside = None
            raise

    def _set_aside(self) -> ProcessPoolExecutor:
        with self._lock:
            if self._aside is None:
                self._aside = _process(_give_way_a_little)
            return self._aside

    def lose(self, pool: ProcessPoolExecutor) -> None:
        """A process of estimates has died: the next stream gets a new one."""
        if pool in self._estimates:
            self._estimates.remove(pool)
        pool.shutdown(wait=False)

    def _ended(self, began_s: float, _: object) -> None:
        self._waiting -= 1
        # The newest few, for a machine may be busy now and idle soon.
        self._analysis_s += 0.2 * (time.monotonic() - began_s - self._analysis_s)

    def close(self) -> None:
        """Let go of threads and processes."""
        self.disk.shutdown(wait=True)
        for pool in (*self._estimates, self._analyses, self._aside):
            if pool is not None:
                pool.shutdown(wait=False, cancel_futures=True)


def _process(begin: Callable[[], None]) -> ProcessPoolExecutor:
    return ProcessPoolExecutor(1, mp_context=get_context("spawn"), initializer=begin)


def _with_its_parent() -> None:
    """A server that was killed tells nobody: its processes end when it does, whatever they are at."""
    parent = parent_process()
    if parent is not None:
        Thread(target=_end_with, args=(parent,), daemon=True).start()


def _end_with(parent: BaseProcess) -> None:
    parent.join()
    os._exit(1)


def _give_way() -> None:
    """Analyses wait for estimates, not estimates for analyses."""
    _with_its_parent()
    if hasattr(os, "nice"):
        os.nice(19)


def _give_way_a_little() -> None:
    """Somebody does wait for it: it comes after the pages, and still comes on a machine with other work."""
    _with_its_parent()
    if hasattr(os, "nice"):
        os.nice(5)
