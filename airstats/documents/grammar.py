"""No grammar of web addresses where none is asked for: it takes a second to build."""

from __future__ import annotations

import sys
from importlib import import_module
from types import ModuleType
from typing import Any


class _LoadedWhenUsed(ModuleType):
    """Stands for a module until it is asked for something."""

    def is_valid_syntax(self, term: str, value: str) -> bool:
        """As the module's own."""
        return self._loaded().is_valid_syntax(term, value)

    def __getattr__(self, name: str) -> Any:
        if name.startswith("__"):
            # The import itself looks for these.
            raise AttributeError(name)
        return getattr(self._loaded(), name)

    def _loaded(self) -> Any:
        if sys.modules.get(self.__name__) is self:
            del sys.modules[self.__name__]
        return import_module(self.__name__)


# The libraries of notebooks and of their tests load it with jsonschema, and never use it.
_GRAMMAR = "rfc3987_syntax"
sys.modules.setdefault(_GRAMMAR, _LoadedWhenUsed(_GRAMMAR))
