"""What a page or an e-mail says, as sentences, and what no sentence may hold."""

from __future__ import annotations

import re
from html.parser import HTMLParser

INLINE = {"a", "abbr", "b", "em", "i", "kbd", "q", "small", "span", "strong", "time"}
SILENT = {"script", "style", "template", "code", "svg"}
SPOKEN = {"alt", "title", "aria-label", "placeholder"}

BROKEN = re.compile(
    r"{(?!name})|(?<!name)}"  # `{name}` is what a coach types for the student's name
    r"|\b(None(?! (left|are|of)\b)|nan|null|undefined)\b"
    r"|\s[.,;:?!](\s|$)"  # a gap before a sign
    r"|(?<!\.)\.\.(?!\.)|[,;:][.,;:]|[.?!][,;:]"  # one sign after another
    r"|“\s*”|\(\s*\)|(^|\s)’s\b"  # a name or a word that is not there
    r"|[Bb]ecause (because|does|do|is|are|was|can|may|has|have|[,.;])"
    r"|\b([Bb]ecause|and|of|from)\s*[.?!]$"
)


class _Reader(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []
        self.now = ""
        self.silent = 0

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found += [value for name, value in attrs if name in SPOKEN and value]
        self.silent += tag in SILENT
        if tag not in INLINE:
            self._end()

    def handle_endtag(self, tag: str) -> None:
        self.silent -= tag in SILENT
        if tag not in INLINE:
            self._end()

    def handle_data(self, data: str) -> None:
        if not self.silent:
            self.now += data

    def _end(self) -> None:
        self.found.append(self.now)
        self.now = ""


def read(html: str) -> list[str]:
    """The text of each block of a page, a line break and doubled blanks as one blank."""
    reader = _Reader()
    reader.feed(html)
    reader.close()
    texts = (" ".join(text.split()) for text in [*reader.found, reader.now])
    return [text for text in texts if text]


def broken(texts: list[str]) -> list[str]:
    """Those that somebody would stumble over."""
    return [text for text in texts if BROKEN.search(text)]
