"""Checks the shipped schemas and the record fixtures with a JSON Schema validator and a YAML 1.2 reader that are not ours,
and prints one line of JSON for each: what was checked, and what does not agree.
"""

import json
import pathlib
import re

from jsonschema import Draft202012Validator
from referencing import Registry, Resource
from ruamel.yaml import YAML

ROOT = pathlib.Path(__file__).resolve().parents[2]
RECORDS = ROOT / "tests" / "fixtures" / "records"


def reader():
    """YAML 1.2's core schema: a date is text."""
    yaml = YAML(typ="safe", pure=True)
    yaml.version = (1, 2)
    yaml.constructor.add_constructor("tag:yaml.org,2002:timestamp", lambda _, node: node.value)
    return yaml


# Which keyword of JSON Schema lies behind each finding.
KEYWORDS = {
    "unknown-field": {"additionalProperties", "unevaluatedProperties"},
    "field-missing": {"required"},
    "how-known": {"oneOf"},
    "not-a-choice": {"enum", "const"},
    "wrong-form": {"pattern"},
    "wrong-type": {"type"},
    "empty-value": {"minItems", "minLength", "minProperties"},
    "against-schema": {"minimum", "maximum", "exclusiveMinimum", "exclusiveMaximum", "maxProperties"},
}


# What is wrong there, the schema cannot see: which roles an engine has stands in another schema.
PARSER_ALONE = {"unknown-field-scope-role"}


def say(kind, name, wrong):
    print(json.dumps({"kind": kind, "name": name, "wrong": wrong}))


def main():
    schemas = {path.name: json.loads(path.read_text("utf-8")) for path in sorted((ROOT / "schema").glob("*.json"))}
    registry = Registry().with_resources((name, Resource.from_contents(schema)) for name, schema in schemas.items())
    for name, schema in schemas.items():
        Draft202012Validator.check_schema(schema)
        say("schema", name, [] if schema["$id"] == name else [f"its $id is {schema['$id']}"])

    def errors(path):
        text = path.read_text("utf-8")
        name = re.search(r"\$schema=\S*/(\S+\.json)", text).group(1)
        return list(Draft202012Validator(schemas[name], registry=registry).iter_errors(reader().load(text)))

    for path in sorted((RECORDS / "valid").glob("*.yaml")):
        say("valid", path.name, [f"{error.json_path}: {error.message}" for error in errors(path)])
    for path in sorted((RECORDS / "invalid").glob("*.yaml")):
        code = next((code for code in KEYWORDS if path.name.startswith(code)), None)
        if code is None or path.stem in PARSER_ALONE:
            continue  # the schema cannot see this fault: the parser must
        seen = {error.validator for error in errors(path)}
        agree = bool(seen & KEYWORDS[code])
        say("invalid", path.name, [] if agree else [f"expected {code}, the schema says {sorted(seen) or 'nothing'}"])


main()
