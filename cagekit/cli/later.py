"""Modules of the standard library that are loaded when somebody asks them for something.

What cagekit stands on imports them at its own start, for what hardly a run asks of it: a thirtieth
of a check went into mail, sockets, archives and ciphers.
"""

from __future__ import annotations

import importlib
import os
import sys
from types import ModuleType
from typing import Any

LATER = ("base64", "bz2", "ctypes", "lzma", "pickle", "random", "secrets", "tokenize")
"""Modules that numpy, pydantic and the standard library import and name in functions only."""


class Later(ModuleType):
    """Stands for a module that is not loaded yet."""

    def __getattr__(self, name: str) -> Any:
        """What the module has under a name; it is loaded now and takes its own place."""
        real = loaded(self)
        vars(self).update(vars(real))
        return getattr(real, name)


def loaded(later: Later) -> ModuleType:
    """The module that ``later`` stands for."""
    name = later.__name__
    if sys.modules.get(name) is later:
        del sys.modules[name]
    return importlib.import_module(name)


def load_later() -> None:
    """Let what this process has not loaded yet wait until it is asked for something."""
    for name in LATER:
        sys.modules.setdefault(name, Later(name))
    _look_for_packages_later()


def _look_for_packages_later() -> None:
    """Let what reads the papers of installed packages wait until it is called.

    pydantic takes its function by name, to look for plug-ins, before it heeds that none are wanted.
    """
    name = "importlib.metadata"
    if name in sys.modules:
        return

    def entry_points(**wanted: Any) -> Any:
        return loaded(later).entry_points(**wanted)

    later = Later(name)
    vars(later).update(
        entry_points=entry_points,
        # a package: asked for that it would be loaded at once
        __path__=[os.path.join(folder, "metadata") for folder in importlib.__path__],  # noqa: PTH118
    )
    sys.modules[name] = later
    importlib.metadata = later
