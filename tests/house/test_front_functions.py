"""What other floors call says what it takes, gives and refuses: numpydoc sections on front functions.

A front function is a public function of a room that another floor imports.
"""

from __future__ import annotations

import ast
import re
from pathlib import Path

import canebench

_SRC = Path(canebench.__file__).parent
_ROOMS = ("sound", "bore", "fitting", "reeds")
_SECTION = re.compile(
    r"^(Parameters|Returns|Raises)\n-+\n(.*?)(?=^\w[^\n]*\n-+$|\Z)", re.MULTILINE | re.DOTALL
)
#: `a, b : what they are` at the start of a line.
_NAMES = re.compile(r"^(\*{0,2}\w+(?:, \w+)*) :", re.MULTILINE)


def _modules(root: Path) -> dict[str, ast.Module]:
    """Every module by its dotted name; a package by its own."""
    found = {}
    for path in sorted(root.rglob("*.py")):
        parts = path.relative_to(root).with_suffix("").parts
        name = ".".join(("canebench", *parts)).removesuffix(".__init__")
        found[name] = ast.parse(path.read_text(encoding="utf-8"))
    return found


def _room(name: str) -> str:
    return name.split(".")[1] if "." in name else ""


def _imported(module: ast.Module) -> list[tuple[str, str]]:
    return [
        (node.module, alias.name)
        for node in ast.walk(module)
        if isinstance(node, ast.ImportFrom) and node.module
        for alias in node.names
    ]


def _used_of(module: ast.Module, name: str) -> set[str]:
    """What is asked of a name: the `b` of `a.b`."""
    return {
        node.attr
        for node in ast.walk(module)
        if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name) and node.value.id == name
    }


def _front(modules: dict[str, ast.Module]) -> dict[str, ast.FunctionDef]:
    """Functions by full name that a module of another floor imports, through a package's door or not."""
    through = {
        (name, thing): (origin, thing)
        for name, module in modules.items()
        for origin, thing in _imported(module)
    }
    defined = {
        (name, node.name): node
        for name, module in modules.items()
        for node in module.body
        if isinstance(node, ast.FunctionDef) and not node.name.startswith("_")
    }
    found = {}
    for name, module in modules.items():
        for origin, thing in _imported(module):
            if _room(origin) in _ROOMS and _room(origin) != _room(name):
                where = (origin, thing) if (origin, thing) in defined else through.get((origin, thing))
                if where in defined:
                    found[".".join(where)] = defined[where]
                # The module itself may be imported, and its functions used through it.
                used = [(f"{origin}.{thing}", one) for one in _used_of(module, thing)]
                found |= {".".join(one): defined[one] for one in used if one in defined}
    return found


def _lacks(function: ast.FunctionDef) -> list[str]:
    """What the docstring leaves out, or says of what is not there."""
    sections = dict(_SECTION.findall(ast.get_docstring(function) or ""))
    given = function.args
    takes = [one.arg for one in (*given.posonlyargs, *given.args, *given.kwonlyargs)]
    takes += [f"*{given.vararg.arg}"] if given.vararg else []
    told = [one for names in _NAMES.findall(sections.get("Parameters", "")) for one in names.split(", ")]
    found = [f"does not say what {one} is" for one in takes if one not in told]
    found += [f"says what {one} is, which it does not take" for one in told if one not in takes]
    gives = not (isinstance(function.returns, ast.Constant) and function.returns.value is None)
    # Where nothing is taken, the first line says it all.
    if takes and gives and "Returns" not in sections:
        found.append("does not say what it gives")
    if any(isinstance(node, ast.Raise) for node in ast.walk(function)) and "Raises" not in sections:
        found.append("does not say what it refuses")
    return found


def test_front_functions_say_what_they_take_give_and_refuse() -> None:
    front = _front(_modules(_SRC))
    assert {_room(name) for name in front} == set(_ROOMS)
    assert "canebench.sound.analysis.measure.measure" in front
    assert "canebench.sound.synth.render.render" in front
    assert {name: _lacks(one) for name, one in front.items() if _lacks(one)} == {}


_SOUND = '''
def hear(sound, *, near_hz=None) -> list:
    """Hear it.

    Parameters
    ----------
    sound : array
        It.
    near_hz : number
        About there, Hz.

    Returns
    -------
    list
        What was heard.

    Raises
    ------
    ValueError
        Silence.
    """
    raise ValueError
'''


def _of(text: str) -> ast.FunctionDef:
    (node,) = ast.parse(text).body
    assert isinstance(node, ast.FunctionDef)
    return node


def test_a_docstring_that_leaves_out_or_invents_is_noticed() -> None:
    """Control."""
    assert _lacks(_of(_SOUND)) == []
    assert _lacks(_of(_SOUND.replace("    near_hz :", "    near :"))) == [
        "does not say what near_hz is",
        "says what near is, which it does not take",
    ]
    assert _lacks(_of(_SOUND.replace("    Returns\n    -------\n", ""))) == ["does not say what it gives"]
    assert _lacks(_of(_SOUND.replace("    Raises\n    ------\n", ""))) == ["does not say what it refuses"]
    assert len(_lacks(_of('def hear(sound) -> int:\n    """Hear it."""\n'))) == 2
    for nothing_taken in ("None", "int"):
        assert _lacks(_of(f'def forget() -> {nothing_taken}:\n    """Nothing to say of it."""\n')) == []


def test_front_functions_are_found_however_they_are_imported() -> None:
    """Control: by name, through a package, of a module; not within the room, nor unused, nor a class."""
    texts = {
        "canebench.sound.ears": "def hear(): ...\ndef _own(): ...\nclass Ear: ...\n",
        "canebench.sound.mouth": "from canebench.sound.ears import hear\ndef say(): ...\ndef hum(): ...\n",
        "canebench.sound": "from canebench.sound.mouth import say\n",
        "canebench.sound.hands": "from canebench.sound.mouth import hum\ndef clap(): ...\ndef wave(): ...\n",
        "canebench.bench.one": "from canebench.sound.ears import hear, Ear\n",
        "canebench.bench.two": "from canebench.sound import say, hands\nhands.clap()\n",
    }
    found = _front({name: ast.parse(text) for name, text in texts.items()})
    assert sorted(found) == [
        "canebench.sound.ears.hear",
        "canebench.sound.hands.clap",
        "canebench.sound.mouth.say",
    ]
