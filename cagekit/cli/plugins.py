"""No plug-ins of pydantic in a run of the command line, nor what looks for them.

An installed package may bring a plug-in that watches all that pydantic reads. Nothing here wants
one, and pydantic has a switch for that; but before it heeds the switch it loads what reads the
papers of installed packages, with mail, sockets and archives: as much time as all files of a build.
"""

from __future__ import annotations

import os
import sys
from importlib import import_module
from types import ModuleType
from typing import Any

SWITCH = "PYDANTIC_DISABLE_PLUGINS"
LOADER = "pydantic.plugin._loader"


class _NoPlugins(ModuleType):
    """Stands for the module that looks for plug-ins, and finds none.

    That module is private, and another release of pydantic may want something else of it: the real
    one gives it then, and takes its place.
    """

    @staticmethod
    def get_plugins() -> tuple[()]:
        """No plug-ins."""
        return ()

    def __getattr__(self, name: str) -> Any:
        """What the real module has under a name."""
        if name.startswith("__"):  # the import system asks whether it is a package, for one
            raise AttributeError(name)
        sys.modules.pop(LOADER, None)
        return getattr(import_module(LOADER), name)


def want_no_plugins() -> None:
    """Turn plug-ins off for this process, unless it was told from outside which it wants."""
    if os.environ.setdefault(SWITCH, "__all__") == "__all__":
        sys.modules.setdefault(LOADER, _NoPlugins(LOADER))
