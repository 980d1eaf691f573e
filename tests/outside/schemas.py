"""Checks the shipped schemas and the record fixtures with JSON Schema and YAML readers that are not ours.

Needs the packages jsonschema and PyYAML. Run from anywhere: python tests/outside/schemas.py
"""

import json
import pathlib
import re
import sys

import yaml
from jsonschema import Draft202012Validator
from referencing import Registry, Resource

ROOT = pathlib.Path(__file__).resolve().parents[2]
RECORDS = ROOT / "tests" / "fixtures" / "records"


class CoreLoader(yaml.SafeLoader):
    """YAML 1.2 as the book uses it: dates stay text, and only true and false are truth values."""


CoreLoader.yaml_implicit_resolvers = {
    first: [(tag, form) for tag, form in forms if tag not in ("tag:yaml.org,2002:timestamp", "tag:yaml.org,2002:bool")]
    for first, forms in yaml.SafeLoader.yaml_implicit_resolvers.items()
}
CoreLoader.add_implicit_resolver("tag:yaml.org,2002:bool", re.compile("^(true|false)$"), list("tf"))

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


def main():
    schemas = {path.name: json.loads(path.read_text("utf-8")) for path in sorted((ROOT / "schema").glob("*.json"))}
    registry = Registry().with_resources((name, Resource.from_contents(schema)) for name, schema in schemas.items())
    wrong = []
    for name, schema in schemas.items():
        Draft202012Validator.check_schema(schema)
        if schema["$id"] != name:
            wrong.append(f"{name}: its $id is {schema['$id']}")

    def errors(path):
        text = path.read_text("utf-8")
        name = re.search(r"\$schema=\S*/(\S+\.json)", text).group(1)
        record = yaml.load(text, CoreLoader)
        return list(Draft202012Validator(schemas[name], registry=registry).iter_errors(record))

    valid = sorted((RECORDS / "valid").glob("*.yaml"))
    invalid = sorted((RECORDS / "invalid").glob("*.yaml"))
    for path in valid:
        wrong += [f"{path.name}: {error.json_path}: {error.message}" for error in errors(path)]
    for path in invalid:
        code = next((code for code in KEYWORDS if path.name.startswith(code)), None)
        if code is None:
            continue  # the schema cannot see this fault: the parser must
        seen = {error.validator for error in errors(path)}
        if not seen & KEYWORDS[code]:
            wrong.append(f"{path.name}: expected {code}, the schema says {sorted(seen) or 'nothing'}")
    print(f"{len(schemas)} schemas, {len(valid)} valid records, {len(invalid)} invalid records")
    print("\n".join(wrong))
    return 1 if wrong or not schemas or not valid or not invalid else 0


if __name__ == "__main__":
    sys.exit(main())
