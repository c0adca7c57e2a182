"""Runs inside the decoder process: from frames of any format and layout to mono float32."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import av

if TYPE_CHECKING:
    from collections.abc import Iterator

    from av.audio.frame import AudioFrame

#: More would only reserve memory.
THREADS: Final = 1


class Mixer:
    """Turns frames into mono float32: the plain average of the channels.

    FFmpeg's own downmix weighs the channels (0.707 each for two), hence the explicit `pan`. Guarded by
    `tests/analytic/test_decode_formats.py`.
    """

    def __init__(self) -> None:
        self._key: tuple[str, int, str, int] | None = None
        self._graph: av.filter.Graph | None = None

    def mono(self, frame: AudioFrame) -> Iterator[memoryview]:
        """The frame as bytes of float32; some may come with the next frame only."""
        channels = frame.layout.nb_channels
        if channels == 1 and frame.format.name in ("flt", "fltp"):
            yield _plane(frame)
            return
        key = (frame.format.name, frame.sample_rate, frame.layout.name, channels)
        if key != self._key:
            yield from self.rest()
            self._key, self._graph = key, _averaging_graph(frame)
        if self._graph is None:  # pragma: no cover - for the type checker: the key was new
            return
        frame.pts = None
        self._graph.push(frame)
        yield from self._pull(self._graph)

    def rest(self) -> Iterator[memoryview]:
        """What is still held back; call it after the last frame."""
        if self._graph is not None:
            self._graph.push(None)
            yield from self._pull(self._graph)
        self._key = self._graph = None

    @staticmethod
    def _pull(graph: av.filter.Graph) -> Iterator[memoryview]:
        while True:
            try:
                frame = graph.pull()
            except (av.BlockingIOError, av.EOFError):
                return
            yield _plane(frame)  # type: ignore[arg-type]


def _plane(frame: AudioFrame) -> memoryview:
    return memoryview(frame.planes[0])[: 4 * frame.samples]


def _averaging_graph(frame: AudioFrame) -> av.filter.Graph:
    channels = frame.layout.nb_channels
    graph = av.filter.Graph()
    graph.threads = THREADS
    chain = [
        graph.add_abuffer(sample_rate=frame.sample_rate, format=frame.format, layout=frame.layout),
        graph.add("aformat", "sample_fmts=fltp"),
    ]
    if channels > 1:
        chain.append(
            graph.add("pan", "mono|c0=" + "+".join(f"{1 / channels!r}*c{i}" for i in range(channels)))
        )
        chain.append(graph.add("aformat", "sample_fmts=fltp"))
    chain.append(graph.add("abuffersink"))
    graph.link_nodes(*chain).configure()
    return graph
