"""Where things stand in a TOML file: the line of every table, key and array element.

``tomli`` reads values but forgets lines; a message that names the line saves a builder the
search. The text must be valid TOML (``tomli`` has read it), so that the scan can be simple.
"""

from __future__ import annotations

from typing import Any

import tomli

TomlKey = tuple[str | int, ...]
"""A dotted key with array indices, e.g. ``("member", 2, "height")``."""

_BLANK = " \t\r\n"
_BARE_ENDS = ",]}#\n"


def line_map(text: str) -> dict[TomlKey, int]:
    """Return the line (from 1) of every table, key and array element in valid TOML ``text``."""
    return _Scan(text).document()


def line_of(lines: dict[TomlKey, int], key: TomlKey) -> int | None:
    """Return the line of ``key``, or of the nearest table above it that stands in the file."""
    for n in range(len(key), 0, -1):
        if key[:n] in lines:
            return lines[key[:n]]
    return None


def value_at(data: Any, key: TomlKey, absent: Any = None) -> Any:
    """Return what the tables of a file hold at ``key``; ``absent`` where there is no such place."""
    for step in key:
        try:
            data = data[step]
        except (KeyError, IndexError, TypeError):
            return absent
    return data


class _Scan:
    """One pass over the text."""

    def __init__(self, text: str) -> None:
        self.text = text.replace("\r\n", "\n")
        self.at = 0
        self.lines: dict[TomlKey, int] = {}
        self.counts: dict[TomlKey, int] = {}
        self._line, self._counted = 1, 0

    def document(self) -> dict[TomlKey, int]:
        table: TomlKey = ()
        while self._blank():
            if self._starts("[["):
                self.at += 2
                name = self._resolve((), self._key(), last=False)
                index = self.counts.get(name, 0)
                self.counts[name] = index + 1
                self.lines.setdefault(name, self._here())
                table = (*name, index)
                self.lines[table] = self._here()
                self._past("]]")
            elif self._starts("["):
                self.at += 1
                table = self._resolve((), self._key())
                self._note(table)
                self._past("]")
            else:
                self._pair(table)
        return self.lines

    def _pair(self, table: TomlKey) -> None:
        key = self._resolve(table, self._key(), last=False)
        self._past("=")
        self._note(key)
        self._value(key)

    def _value(self, key: TomlKey) -> None:
        self._blank()
        for quote in ('"""', "'''", '"', "'"):
            if self._starts(quote):
                self._string(quote)
                return
        if self._starts("["):
            self._array(key)
        elif self._starts("{"):
            self._inline(key)
        else:
            while self.at < len(self.text) and self.text[self.at] not in _BARE_ENDS:
                self.at += 1

    def _array(self, key: TomlKey) -> None:
        self.at += 1
        index = 0
        while self._blank() and not self._starts("]"):
            self.lines[(*key, index)] = self._here()
            self._value((*key, index))
            self._blank()
            if self._starts(","):
                self.at += 1
            index += 1
        self.at += 1

    def _inline(self, key: TomlKey) -> None:
        self.at += 1
        while self._blank() and not self._starts("}"):
            self._pair(key)
            self._blank()
            if self._starts(","):
                self.at += 1
        self.at += 1

    def _string(self, quote: str) -> None:
        self.at += len(quote)
        while self.at < len(self.text) and not self._starts(quote):
            self.at += 2 if quote[0] == '"' and self._starts("\\") else 1
        self.at += len(quote)
        # a multi-line text may end in one or two quotes of its own
        while len(quote) == 3 and self._starts(quote[0]):
            self.at += 1

    def _key(self) -> list[str]:
        parts: list[str] = []
        while True:
            self._blank()
            begin = self.at
            if self._starts('"') or self._starts("'"):
                self._string(self.text[self.at])
                parts.append(tomli.loads(f"k = {self.text[begin : self.at]}")["k"])
            else:
                while self.at < len(self.text) and self.text[self.at] not in " \t.=]\n":
                    self.at += 1
                parts.append(self.text[begin : self.at])
            self._blank()
            if not self._starts("."):
                return parts
            self.at += 1

    def _resolve(self, table: TomlKey, parts: list[str], *, last: bool = True) -> TomlKey:
        """Append dotted ``parts``; an array of tables on the way means its latest element."""
        key = table
        for n, part in enumerate(parts, 1):
            key = (*key, part)
            if key in self.counts and (last or n < len(parts)):
                key = (*key, self.counts[key] - 1)
        return key

    def _note(self, key: TomlKey) -> None:
        """Remember the line of ``key`` and of the tables that it opens on the way."""
        for n in range(1, len(key)):
            self.lines.setdefault(key[:n], self._here())
        self.lines[key] = self._here()

    def _here(self) -> int:
        self._line += self.text.count("\n", self._counted, self.at)
        self._counted = self.at
        return self._line

    def _blank(self) -> bool:
        """Skip white space and comments; tell whether anything is left."""
        while self.at < len(self.text):
            c = self.text[self.at]
            if c == "#":
                end = self.text.find("\n", self.at)
                self.at = len(self.text) if end < 0 else end
            elif c in _BLANK:
                self.at += 1
            else:
                return True
        return False

    def _starts(self, what: str) -> bool:
        return self.text.startswith(what, self.at)

    def _past(self, what: str) -> None:
        found = self.text.find(what, self.at)
        self.at = len(self.text) if found < 0 else found + len(what)
