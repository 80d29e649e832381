"""Reading HTML in tests: what it fetches, what it says, and whether it is well formed."""

from __future__ import annotations

from html.parser import HTMLParser

# https://html.spec.whatwg.org/multipage/syntax.html#void-elements
VOID = {
    "area",
    "base",
    "br",
    "col",
    "embed",
    "hr",
    "img",
    "input",
    "link",
    "meta",
    "source",
    "wbr",
}
FETCHING = {"src", "href", "xlink:href", "action", "data", "poster", "srcset", "background"}


class Page(HTMLParser):
    """A parsed page.

    Attributes
    ----------
    tags : list of (str, dict)
        Every start tag with its attributes.
    text : str
        What a reader sees.
    ids : list of str
        Every identifier, in order.
    """

    def __init__(self, source: str) -> None:
        super().__init__(convert_charrefs=True)
        self.source = source
        self.tags: list[tuple[str, dict[str, str]]] = []
        self.ids: list[str] = []
        self.text = ""
        self._open: list[str] = []
        self.feed(source)
        self.close()
        assert self._open == [], f"never closed: {self._open}"

    def handle_starttag(self, tag: str, attrs: list) -> None:
        values = {name: value or "" for name, value in attrs}
        self.tags.append((tag, values))
        if "id" in values:
            self.ids.append(values["id"])
        if tag not in VOID:
            self._open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list) -> None:
        self.handle_starttag(tag, attrs)
        if tag not in VOID:
            self._open.pop()

    def handle_endtag(self, tag: str) -> None:
        assert self._open
        assert self._open[-1] == tag, f"</{tag}> closes <{self._open[-1]}>"
        self._open.pop()

    def handle_data(self, data: str) -> None:
        if "style" not in self._open and "script" not in self._open:
            self.text += data

    @property
    def fetched(self) -> list[str]:
        """Everything that a browser would fetch or run."""
        found = [
            value
            for _, attributes in self.tags
            for name, value in attributes.items()
            if name in FETCHING and not value.startswith("#")
        ]
        found += [f"<{tag}>" for tag, _ in self.tags if tag in ("script", "link", "iframe")]
        found += [
            name
            for _, attributes in self.tags
            for name in attributes
            if name.startswith("on") and len(name) > 3
        ]
        found += [part for part in ("@import", "url(http", "url('http") if part in self.source]
        return found
