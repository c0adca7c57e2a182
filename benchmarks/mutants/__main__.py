"""Changes the product at one place at a time; does a test notice? `benchmarks/mutate [GROUP ...]`."""

from __future__ import annotations

import argparse
import json
import os
import random
import shutil
import subprocess
import sys
import tempfile
import time
import tomllib
from collections import Counter, defaultdict
from compileall import compile_dir
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from mutants.asked import asked_of, short_tests
from mutants.changes import Change, changed, changes_of
from mutants.groups import GROUPS
from mutants.quickly import SEASON

if TYPE_CHECKING:
    from collections.abc import Iterator

_TOP: Final = Path(__file__).parents[2]
_KNOWN: Final = Path(__file__).with_name("known.toml")
#: To start a child, s.
_START_S: Final = 20.0
_ASKED: Final = 85.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Tried:
    """One change, and what noticed it, None for a survivor; `same`: why nothing of it could be told."""

    module: str
    change: Change
    source: str
    by: str | None
    same: str | None

    def __str__(self) -> str:
        where = f"{self.module}:{self.change.line}"
        return f"{where} {self.change.function or '(module)'}: {self.change.said[:150]}"


class Shadow:
    """A copy of the product, in which one module at a time is changed."""

    def __init__(self, folder: Path) -> None:
        self.src = folder / "src"
        shutil.copytree(_TOP / "src", self.src, ignore=shutil.ignore_patterns("__pycache__"))
        compile_dir(self.src, quiet=1)
        self.package = self.src / "canebench"
        paths = [self.src, _TOP / "tests", _TOP / "benchmarks"]
        self.environment = {
            **os.environ,
            "PYTHONPATH": os.pathsep.join(map(str, paths)),
            "PYTHONDONTWRITEBYTECODE": "1",
            "OPENBLAS_NUM_THREADS": "1",
        }
        self._writes = 0
        season = folder / "season"
        made = [sys.executable, "-m", "canebench", "demo", str(season)]
        subprocess.run(made, env=self.environment, check=True, stdout=subprocess.DEVNULL)
        self.environment[SEASON] = str(season)

    def write(self, module: Path, text: str) -> None:
        """Its time is one that it never had: compiled code is known by time and length."""
        module.write_text(text, encoding="utf-8")
        self._writes += 1
        stamp = 1_000_000_000 + self._writes
        os.utime(module, (stamp, stamp))


def reached(shadow: Shadow, modules: list[Path], tests: list[str]) -> dict[str, Any]:
    """What each test runs, kept in `build` for as long as neither product nor tests change."""
    digest = sha256()
    for path in sorted([*_TOP.glob("src/**/*.py"), *_TOP.glob("tests/**/*.py")]):
        digest.update(path.read_bytes())
    digest.update(json.dumps([tests, [str(path.relative_to(shadow.src)) for path in modules]]).encode())
    kept = _TOP / "build" / "mutants" / f"{digest.hexdigest()[:24]}.json"
    if not kept.exists():
        kept.parent.mkdir(parents=True, exist_ok=True)
        out = shadow.src.parent / "reached.json"
        command = [sys.executable, "-m", "mutants.reach", str(out), *map(str, modules), "--", *tests]
        subprocess.run(command, cwd=_TOP, env=shadow.environment, stdout=subprocess.DEVNULL, check=True)
        told = json.loads(out.read_text())
        told["lines"] = {str(Path(name).relative_to(shadow.src)): of for name, of in told["lines"].items()}
        kept.write_text(json.dumps(told))
    found: dict[str, Any] = json.loads(kept.read_text())
    return found


class Trials:
    """The process that tries, and what it has to know."""

    def __init__(self, shadow: Shadow, told: dict[str, Any]) -> None:
        self._told = told
        self._process = subprocess.Popen(
            [sys.executable, "-m", "mutants.trial"],
            cwd=_TOP,
            env=shadow.environment,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )
        self._say({"imported": told["imported"]})

    def _say(self, told: object) -> None:
        print(json.dumps(told), file=self._process.stdin, flush=True)

    def leave_out(self, test: str) -> None:
        """A test that fails by itself, such as one that minds how busy the machine is, is asked no more."""
        if test not in self._told["took_s"] or test in self._told["failed"]:
            raise RuntimeError(f"{test} without any change")
        self._told["failed"].append(test)

    def by(self, tests: list[str]) -> str | None:
        """What noticed."""
        expected = sum(self._told["took_s"][test] for test in tests)
        self._say({"tests": tests, "limit_s": _START_S + 5 * expected})
        answer = "" if self._process.stdout is None else self._process.stdout.readline()
        by: str | None = json.loads(answer)["by"]
        return by

    def end(self) -> None:
        """No more."""
        self._process.communicate()


def known() -> dict[tuple[str, str, str], str]:
    """Changes that change nothing that could be told, by module, function and what they do; the reason."""
    if not _KNOWN.exists():
        return {}
    told = tomllib.loads(_KNOWN.read_text(encoding="utf-8"))
    return {(one["module"], one["function"], one["change"]): one["why"] for one in told.get("same", [])}


def tried_of(name: str, *, most: int, seed: int, folder: Path, only: str | None = None) -> Iterator[Tried]:
    """A sample of a group's changes, each tried."""
    shadow, group, same = Shadow(folder), GROUPS[name], known()
    modules = group.modules(shadow.package)
    every = [(path, one) for path in modules for one in changes_of(path.read_text(encoding="utf-8"))]
    if only is not None:
        every = [(path, one) for path, one in every if only in str(path)]
    chance = random.Random(f"{seed} {name}")  # noqa: S311 - a sample, not secrets
    chosen = every if most >= len(every) else chance.sample(every, most)
    told = reached(shadow, modules, group.tests_of(modules, _TOP))
    trials = Trials(shadow, told)
    try:
        # The control: where nothing is changed, nothing may be noticed. What does notice is asked nothing.
        while noticed := trials.by(short_tests(told)):
            print(f"    not asked, for it fails without any change: {noticed}", flush=True)
            trials.leave_out(noticed)
        for path, change in sorted(chosen, key=lambda one: (str(one[0]), one[1].line)):
            text = path.read_text(encoding="utf-8")
            where = str(path.relative_to(shadow.src))
            module = str(path.relative_to(shadow.package))
            why = same.get((module, change.function, change.said))
            guards = set(group.tests_of([path], _TOP))
            tests = asked_of(told, where, change.line, guards, group.begun_by)
            by: str | None = None
            if why is None and tests:
                shadow.write(path, changed(text, change))
                by = trials.by(tests)
                shadow.write(path, text)
            source = text.splitlines()[change.line - 1].strip()
            yield Tried(module=module, change=change, source=source, by=by, same=why)
    finally:
        trials.end()


def main() -> int:
    """1 where fewer than 85 % of a group's changes are noticed."""
    parser = argparse.ArgumentParser(prog="benchmarks/mutate", description=__doc__)
    parser.add_argument("groups", nargs="*", metavar="GROUP", help=f"of {', '.join(GROUPS)}; all if none")
    parser.add_argument("--most", type=int, default=100, help="so many changes of each group (default 100)")
    parser.add_argument("--seed", type=int, default=1, help="which ones")
    parser.add_argument("--only", help="of modules with this in their path")
    wanted = parser.parse_args()
    unknown = sorted({*wanted.groups} - GROUPS.keys())
    if unknown:
        parser.error(f"no such group: {', '.join(unknown)}; there are {', '.join(GROUPS)}")
    failed = False
    print(f"{'module':<34}{'changes':>8}{'noticed':>9}{'left':>6}{'same':>6}{'%':>7}   seed {wanted.seed}")
    for name in wanted.groups or GROUPS:
        begun = time.monotonic()
        with tempfile.TemporaryDirectory(prefix="mutants-") as folder:
            found = list(
                tried_of(name, most=wanted.most, seed=wanted.seed, folder=Path(folder), only=wanted.only)
            )
        failed |= _print_group(name, found, time.monotonic() - begun)
    return int(failed)


def _print_group(name: str, found: list[Tried], took_s: float) -> bool:
    by_module: dict[str, list[Tried]] = defaultdict(list)
    for one in found:
        by_module[one.module].append(one)
    for module, of in by_module.items():
        _print_line(module, of)
    share = _print_line(f"{name}, all", found, f"   {took_s:.0f} s")
    late = Counter(one.by for one in found)["it took too long"]
    if late:
        print(f"    of those noticed, {late} because the tests did not end in time")
    for one in found:
        if one.by is None and one.same is None:
            print(f"    left: {one}\n          {one.source}")
    for one in found:
        if one.same is not None:
            print(f"    same: {one}\n          {one.same}")
    sys.stdout.flush()
    return share < _ASKED


def _print_line(name: str, found: list[Tried], more: str = "") -> float:
    same = sum(one.same is not None for one in found)
    noticed = sum(one.by is not None for one in found)
    left = len(found) - same - noticed
    share = 100.0 * noticed / max(noticed + left, 1)
    print(f"{name:<34}{len(found):>8}{noticed:>9}{left:>6}{same:>6}{share:>7.1f}{more}")
    return share


if __name__ == "__main__":
    sys.exit(main())
