"""Reads the book and the answers under target/outside/fresh with a YAML 1.2 reader and a JSON Schema validator that are
not ours, and prints one line of JSON for each: what was checked, and what does not agree.
"""

import json
import pathlib
import re

from jsonschema import Draft202012Validator
from referencing import Registry, Resource
from ruamel.yaml import YAML

ROOT = pathlib.Path(__file__).resolve().parents[2]
FRESH = ROOT / "target" / "outside" / "fresh"


def reader():
    """YAML 1.2's core schema: a date is text."""
    yaml = YAML(typ="safe", pure=True)
    yaml.version = (1, 2)
    yaml.constructor.add_constructor("tag:yaml.org,2002:timestamp", lambda _, node: node.value)
    return yaml


def registry(folder):
    documents = {path.name: json.loads(path.read_text("utf-8")) for path in sorted(folder.glob("*.json"))}
    for document in documents.values():
        Draft202012Validator.check_schema(document)
    return documents, Registry().with_resources(
        (name, Resource.from_contents(document)) for name, document in documents.items()
    )


def say(kind, name, wrong):
    print(json.dumps({"kind": kind, "name": name, "wrong": wrong}))


def main():
    schemas, known = registry(ROOT / "schema")
    book = FRESH / "book"
    for path in sorted(book.rglob("*.yaml")):
        name = str(path.relative_to(book))
        text = path.read_text("utf-8")
        theirs = reader().load(text)
        ours = json.loads((FRESH / "read" / f"{name}.json").read_text("utf-8"))
        # Through JSON, since true is 1 to Python.
        same = json.dumps(theirs, sort_keys=True) == json.dumps(ours, sort_keys=True)
        wrong = [] if same else [f"read as {theirs!r}, by the program as {ours!r}"]
        schema = re.search(r"\$schema=\S*?([a-z-]+\.json)", text).group(1)
        validator = Draft202012Validator(schemas[schema], registry=known)
        wrong += [f"{error.json_path}: {error.message}" for error in validator.iter_errors(theirs)]
        say("manifest", name, wrong)
    shapes, known = registry(ROOT / "schema" / "answers")
    for path in sorted((FRESH / "answers").rglob("*.json")):
        answer = json.loads(path.read_text("utf-8"))
        validator = Draft202012Validator(shapes[f"{answer['answer']}.json"], registry=known)
        say("answer", path.stem, [f"{error.json_path}: {error.message}" for error in validator.iter_errors(answer)])


main()
