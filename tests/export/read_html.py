"""Reads a report with two parsers of the standard library, and looks at what a screen reader needs."""

import sys
import xml.etree.ElementTree as tree
from html.parser import HTMLParser
from pathlib import Path

text = Path(sys.argv[1]).read_text(encoding="utf-8")
assert text.startswith("<!DOCTYPE html>\n")
root = tree.fromstring(text.split("\n", 1)[1])
assert root.tag == "html" and root.get("lang")
assert root.find("head/title").text.strip()
ids = [element.get("id") for element in root.iter() if element.get("id")]
assert len(ids) == len(set(ids)), "an id twice"

level = 0
for element in root.iter():
    if element.tag in ("h1", "h2", "h3", "h4", "h5", "h6"):
        own = int(element.tag[1])
        assert own <= level + 1, ("a heading skips a level", "".join(element.itertext()))
        level = own
        assert "".join(element.itertext()).strip(), "an empty heading"
    if element.tag == "a":
        href = element.get("href")
        if href.startswith("#"):
            assert href[1:] in ids, href
        else:
            assert href.startswith("shedlight:open?study="), href
    if element.tag in ("script", "link", "iframe", "object", "img"):
        raise AssertionError(("it asks for something from outside", element.tag))

for table in root.iter("table"):
    assert table.find("caption") is not None and "".join(table.find("caption").itertext()).strip()
    heads = table.findall("thead/tr/th")
    assert heads and all(head.get("scope") == "col" for head in heads)
    for row in table.findall("tbody/tr"):
        cells = list(row)
        if cells[0].get("colspan"):
            continue
        assert len(cells) == len(heads), ("a row of another length", "".join(row.itertext()))
        assert cells[0].tag == "th" and cells[0].get("scope") == "row"

assert root.find(".//main") is not None and root.find(".//nav").get("aria-label")


class Balance(HTMLParser):
    """Every element that opens is closed, as HTML sees it."""

    open = []

    def handle_starttag(self, tag, attrs):
        if tag not in ("meta", "br", "wbr"):
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        pass

    def handle_endtag(self, tag):
        assert self.open and self.open.pop() == tag, tag


reader = Balance()
reader.feed(text)
assert not reader.open
