"""Expands Web Annotations as JSON-LD 1.1: expand_json_ld.py CONTEXT.json FILE…  Every key has to mean something."""

import json
import sys

from pyld import jsonld

OA, AS = "http://www.w3.org/ns/oa#", "http://www.w3.org/ns/activitystreams#"
context = json.load(open(sys.argv[1], encoding="utf-8"))


def loader(url, _options=None):
    assert url == "http://www.w3.org/ns/anno.jsonld", url
    return {"contextUrl": None, "documentUrl": url, "document": {"@context": context["@context"]}}


def keys(value):
    """Keys of a document, without contexts and without what is JSON by type."""
    if isinstance(value, list):
        return sum((keys(one) for one in value), 0)
    if not isinstance(value, dict):
        return 0
    inside = {key: own for key, own in value.items() if key != "@context"}
    return len(inside) + sum(keys(own) for key, own in inside.items() if key not in ("mark", "coding"))


def terms(value):
    """The same of an expanded one."""
    if isinstance(value, list):
        return sum((terms(one) for one in value), 0)
    if not isinstance(value, dict) or "@value" in value:
        return 0
    if "@list" in value:
        return terms(value["@list"])
    return sum((0 if key == "@id" and len(value) == 1 else 1) + terms(own) for key, own in value.items())


jsonld.set_document_loader(loader)
annotations = 0
for path in sys.argv[2:]:
    document = json.load(open(path, encoding="utf-8"))
    expanded = jsonld.expand(document)
    assert len(expanded) == 1, path
    assert expanded[0]["@type"] == [AS + "OrderedCollection"], path
    assert terms(expanded) == keys(document), (path, terms(expanded), keys(document))
    (page,) = expanded[0][AS + "first"]
    (items,) = page[AS + "items"]
    for item in items["@list"]:
        assert item["@type"] == [OA + "Annotation"]
        assert item[OA + "motivatedBy"] == [{"@id": OA + "tagging"}]
        for target in item[OA + "hasTarget"]:
            assert target["@type"] == [OA + "SpecificResource"], target
            assert target[OA + "hasSource"][0]["@id"] and target[OA + "hasSelector"][0]["@type"] == [OA + "FragmentSelector"]
        assert item["shedlight:terms/mark"][0]["@type"] == "@json"
        annotations += 1
print(f"json-ld: {annotations} annotations")
