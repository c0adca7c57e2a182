"""A real sound server in a machine without a sound card: a wire at 44.1 kHz that ends as a microphone.

Source: PulseAudio's documentation, "Modules": module-null-sink, module-remap-source. What is played into the
wire the server plays to nobody, in time by its own clock; the microphone hears it. Loudspeakers at 48 kHz
give browsers their rate: it is resampled on its way.
"""

from __future__ import annotations

import os
import subprocess
import time
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Final

from support.running_bench import WAIT_MS

if TYPE_CHECKING:
    from collections.abc import Iterator

PULSEAUDIO: Final = Path("/usr/bin/pulseaudio")
PLAYER: Final = Path("/usr/bin/paplay")
#: Why a test of it is left out.
NO_SOUND_SERVER: Final = "A sound server is not here: apt-get install pulseaudio pulseaudio-utils"
WIRE_HZ: Final = 44_100
_MODULES: Final = f""".fail
load-module module-native-protocol-unix socket={{socket}} auth-anonymous=1
load-module module-null-sink sink_name=loudspeakers rate=48000 channels=2
load-module module-null-sink sink_name=wire rate={WIRE_HZ} channels=1
load-module module-remap-source source_name=microphone master=wire.monitor channels=1
set-default-sink loudspeakers
set-default-source microphone
"""
_SWITCHES: Final = (
    "--daemonize=no",
    "--exit-idle-time=-1",
    "--disable-shm=yes",
    "--use-pid-file=no",
    "--realtime=no",
    "--high-priority=no",
)


def sound_server_is_here() -> bool:
    """Whether the server and its player are."""
    return PULSEAUDIO.exists() and PLAYER.exists()


@contextmanager
def sounding(folder: Path, played: Path) -> Iterator[dict[str, str]]:
    """A server in this empty folder whose microphone hears the file; what to tell a program."""
    socket, script = folder / "socket", folder / "modules.pa"
    script.write_text(_MODULES.format(socket=socket), encoding="utf-8")
    own = {"HOME": str(folder), "XDG_RUNTIME_DIR": str(folder), "PULSE_RUNTIME_PATH": str(folder)}
    told = {"PULSE_SERVER": f"unix:{socket}"}
    environment = {**os.environ, **own}
    with subprocess.Popen(
        [str(PULSEAUDIO), "-n", "-F", str(script), *_SWITCHES], env=environment, stderr=subprocess.DEVNULL
    ) as server:
        try:
            until = time.monotonic() + WAIT_MS / 1_000
            while not socket.exists():
                assert server.poll() is None, "the sound server ended"
                assert time.monotonic() < until, "the sound server does not start"
                time.sleep(0.05)
            with subprocess.Popen(
                [str(PLAYER), "--device=wire", str(played)], env={**environment, **told}
            ) as player:
                try:
                    yield told
                finally:
                    player.terminate()
        finally:
            server.terminate()
