"""A disk in memory that traced operations are done on again, and what is found of it after a power cut.

What a cut may do is what file systems promise no more than. In any order: of what was written since a file's
last sync every sector of 512 bytes is there or not, each by itself, and a new length may be there without its
content; a name that was made, moved or taken away is so or not, each by itself, until its folder is synced; a
move within a folder is one thing. In order: all is there up to some operation after the last sync, and
nothing later.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import PurePosixPath
from typing import TYPE_CHECKING, Any

from support.power_cut_disk import Write, perhaps, put, resize

if TYPE_CHECKING:
    import random
    from collections.abc import Callable, Mapping

    from support.traced_files import Operation

#: What is found: files by name; a folder has None.
Image = dict[str, bytes | None]


@dataclass(slots=True, eq=False)
class _File:
    live: bytearray = field(default_factory=bytearray)
    certain: bytes = b""
    pending: list[Write | int] = field(default_factory=list)

    def after_a_cut(self, keep: float, chance: random.Random) -> bytes:
        content = bytearray(self.certain)
        for step in self.pending:
            perhaps(content, step, keep, chance)
        return bytes(content)


@dataclass(slots=True, eq=False)
class _Folder:
    live: dict[str, _File | _Folder] = field(default_factory=dict)
    certain: dict[str, _File | _Folder] = field(default_factory=dict)
    #: Names since the last sync: each change sets some names, or takes them away (None), all or none of it.
    pending: list[dict[str, _File | _Folder | None]] = field(default_factory=list)

    def after_a_cut(self, keep: float, chance: random.Random) -> dict[str, _File | _Folder]:
        found: dict[str, _File | _Folder] = dict(self.certain)
        for change in self.pending:
            if chance.random() < keep:
                _set(found, change)
        return found


class TracedDisk:
    """Files and folders, as programs see them and as they are for certain."""

    def __init__(self, image: Mapping[str, bytes | None], numbers: Mapping[int, str]) -> None:
        self._root = _Folder()
        self._files: dict[int, _File] = {}
        for name, content in sorted(image.items()):
            folder, last = self._place(name)
            made = _Folder() if content is None else _File(bytearray(content), content)
            folder.live[last] = folder.certain[last] = made
        for number, name in numbers.items():
            folder, last = self._place(name)
            found = folder.live[last]
            if isinstance(found, _File):
                self._files[number] = found

    def do(self, operation: Operation) -> None:
        """One more operation."""
        what, *told = operation
        if what in ("write", "whole", "cut", "sync"):
            self._do_file(what, self._files[told[0]], told[1:])
        elif what == "make":
            made = self._files[told[1]] = _File()
            self._change(told[0], made)
        elif what == "make folder":
            self._change(told[0], _Folder())
        elif what == "drop":
            self._change(told[0], None)
        elif what == "link":
            self._change(told[1], self._at(told[0]))
        elif what == "move":
            self._move(told[0], told[1])
        elif what == "sync folder":
            folder = self._at(told[0])
            if isinstance(folder, _Folder):
                folder.certain = dict(folder.live)
                folder.pending.clear()

    def live(self) -> Image:
        """As programs see it."""
        return _image(self._root, lambda folder: folder.live, lambda file: bytes(file.live))

    def after_a_cut(self, chance: random.Random) -> Image:
        """What is found, where each thing is kept or lost by itself."""
        keep = chance.choice([0.0, 0.1, 0.5, 0.9, 1.0])
        return _image(
            self._root,
            lambda folder: folder.after_a_cut(keep, chance),
            lambda file: file.after_a_cut(keep, chance),
        )

    def _do_file(self, what: str, file: _File, told: list[Any]) -> None:
        if what == "sync":
            file.certain = bytes(file.live)
            file.pending.clear()
        elif what == "write":
            put(file.live, told[0], told[1])
            file.pending.append(Write(told[0], told[1]))
        elif what == "cut":
            resize(file.live, told[0])
            file.pending.append(told[0])
        elif bytes(file.live) != told[0]:
            # What another library wrote.
            file.live[:] = told[0]
            file.pending += [0, Write(0, told[0])]

    def _move(self, source: str, target: str) -> None:
        (old, last), (new, name) = self._place(source), self._place(target)
        moved = old.live[last]
        if old is new:
            self._commit(old, {last: None, name: moved})
        else:
            self._commit(new, {name: moved})
            self._commit(old, {last: None})

    def _change(self, name: str, to: _File | _Folder | None) -> None:
        folder, last = self._place(name)
        self._commit(folder, {last: to})

    def _commit(self, folder: _Folder, change: dict[str, _File | _Folder | None]) -> None:
        _set(folder.live, change)
        folder.pending.append(change)

    def _place(self, name: str) -> tuple[_Folder, str]:
        *above, last = PurePosixPath(name).parts
        folder = self._root
        for one in above:
            found = folder.live[one]
            if not isinstance(found, _Folder):
                raise TypeError(name)
            folder = found
        return folder, last

    def _at(self, name: str) -> _File | _Folder:
        if name in ("", "."):
            return self._root
        folder, last = self._place(name)
        return folder.live[last]


def _set(names: dict[str, _File | _Folder], change: Mapping[str, _File | _Folder | None]) -> None:
    for name, to in change.items():
        if to is None:
            names.pop(name, None)
        else:
            names[name] = to


def _image(
    folder: _Folder,
    names: Callable[[_Folder], Mapping[str, _File | _Folder]],
    content: Callable[[_File], bytes],
    above: str = "",
) -> Image:
    found: Image = {}
    for name, one in names(folder).items():
        path = f"{above}{name}"
        if isinstance(one, _Folder):
            found[path] = None
            found |= _image(one, names, content, f"{path}/")
        else:
            found[path] = content(one)
    return found
