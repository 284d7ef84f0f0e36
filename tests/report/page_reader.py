"""Reads a page as a browser would, and says what is wrong with it."""

import re
from collections import Counter
from functools import cache
from html.parser import HTMLParser

VOID = {"meta", "img", "br", "link", "input", "hr"}


class Reader(HTMLParser):
    """Reads a page into its text, its tags with their attributes, and the mistakes in its nesting."""

    def __init__(self, page: str) -> None:
        super().__init__(convert_charrefs=True)
        self.tags: list[tuple[str, dict[str, str]]] = []
        self.words: list[str] = []
        self.open: list[str] = []
        self.wrong: list[str] = []
        self.feed(page)
        self.close()

    def handle_starttag(self, tag, attrs) -> None:
        self.tags.append((tag, {name: value or "" for name, value in attrs}))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs) -> None:
        self.tags.append((tag, {name: value or "" for name, value in attrs}))

    def handle_endtag(self, tag) -> None:
        if not self.open or self.open.pop() != tag:
            self.wrong.append(f"{tag} at {self.getpos()}")

    def handle_data(self, data) -> None:
        if "style" not in self.open:
            self.words.append(data)

    @property
    def text(self) -> str:
        return re.sub(r"\s+", " ", " ".join(self.words))

    def attributes(self, name: str) -> list[str]:
        return [attrs[name] for _, attrs in self.tags if name in attrs]


@cache
def read(page: str) -> Reader:
    return Reader(page)


def broken(page: str) -> list[str]:
    """Everything that keeps ``page`` from being whole: nesting, doubled ids, references that lead nowhere."""
    reader = read(page)
    ids = reader.attributes("id")
    found = [*reader.wrong, *(f"{tag} stays open" for tag in reader.open)]
    found += [f"id {name} is there {count} times" for name, count in Counter(ids).items() if count > 1]
    wanted = {target[1:] for target in reader.attributes("href") + reader.attributes("xlink:href")}
    wanted |= set(re.findall(r"url\(#([^)]*)\)", page)) | set(reader.attributes("aria-labelledby"))
    return found + [f"nothing is called {name}" for name in sorted(wanted - set(ids))]


def fetched(page: str) -> list[str]:
    """Everything in ``page`` that would run, or be fetched from elsewhere; films beside it may be."""
    reader = read(page)
    found = [tag for tag, _ in reader.tags if tag in {"script", "link", "iframe", "object", "embed", "base"}]
    found += [word for word in ("http", "@import") if word in page]
    found += [target for target in reader.attributes("href") + reader.attributes("xlink:href") if target[:1] != "#"]
    found += [part for part in re.findall(r"url\(([^)]*)\)", page) if part[:1] != "#"]
    sources = reader.attributes("src")
    return found + [src for src in sources if not re.fullmatch(r"data:image/jpeg;base64,.*|(?!//)[^:]*\.mp4", src)]
