"""What waits until it is asked for is then what it stands for, and a check asks for none of it."""

from __future__ import annotations

import subprocess
import sys

import pytest

from cagekit.cli.later import LATER

BEGIN = "import sys\nfrom cagekit.cli.later import Later, load_later\nload_later()\n"


def said(code: str) -> str:
    """What ``code`` prints in a fresh interpreter where modules wait."""
    done = subprocess.run([sys.executable, "-c", BEGIN + code], capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    return done.stdout.strip()


NAMES = {
    "base64": "b64encode",
    "bz2": "compress",
    "ctypes": "c_int",
    "lzma": "compress",
    "pickle": "dumps",
    "random": "Random",
    "secrets": "token_hex",
    "tokenize": "open",
    "importlib.metadata": "entry_points",
}
"""A name that each of them has."""


def test_each_of_them_is_tried() -> None:
    assert set(NAMES) == {*LATER, "importlib.metadata"}


@pytest.mark.parametrize("name", NAMES)
def test_a_module_takes_its_own_place_when_it_is_asked_for_something(name: str) -> None:
    code = (
        f"import {name} as early\nassert type(early) is Later\nearly.__file__\n"
        f"import {name} as real\nassert type(real) is not Later\n"
        f"assert early.{NAMES[name]} is real.{NAMES[name]}\n"
        "assert early.__spec__ is real.__spec__ and sys.modules[real.__name__] is real\n"
        "assert not [n for n, v in vars(real).items() if vars(early)[n] is not v]\nprint('ok')"
    )
    assert said(code) == "ok"


def test_names_are_taken_and_parts_imported_as_ever() -> None:
    assert said("from secrets import token_hex\nprint(len(token_hex(4)))") == "8"
    assert said("import ctypes.util\nprint(ctypes.util.__name__)") == "ctypes.util"
    assert said("import pickle\nprint(pickle.loads(pickle.dumps([1])))") == "[1]"
    assert said("import secrets\nprint(hasattr(secrets, 'nothing_of_theirs'))") == "False"


def test_installed_packages_are_found() -> None:
    assert said("import importlib.metadata as m\nprint(m.version('numpy') != '')") == "True"
    assert said("import importlib\nprint(importlib.metadata.version('numpy') != '')") == "True"
    code = "from importlib.metadata import entry_points\nprint(len(entry_points(group='none')))"
    assert said(f"assert 'email' not in sys.modules\n{code}") == "0"


def test_what_is_loaded_stays() -> None:
    code = "import pickle\nfrom cagekit.cli.later import load_later\nload_later()\n"
    done = subprocess.run(
        [sys.executable, "-c", f"{code}print('_compat_pickle' in __import__('sys').modules)"],
        capture_output=True,
        text=True,
    )
    assert done.stdout.strip() == "True", done.stderr


def test_a_check_asks_for_none_of_them() -> None:
    kept_out = ("_bz2", "_ctypes", "_hashlib", "_pickle", "_json", "_random", "email", "socket")
    code = (
        "import io\nfrom cagekit.cli.main import start\n"
        "sys.argv, out = ['cagekit', 'check', 'gravel-hatch'], sys.stdout\n"
        "sys.stdout = io.StringIO()\nstart()\nsys.stdout = out\n"
        f"print([n for n in {kept_out} if n in sys.modules])"
    )
    assert said(code) == "[]"
