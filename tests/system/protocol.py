#!/usr/bin/env python3
"""The table of JSON keys: protocol.py make writes the page and the schemas from it, protocol.py check
fails when they differ from it. The tests hold what the programs say to the schemas: faults()."""
import json
import os
import re
import sys

HOME = os.path.join(os.path.dirname(os.path.dirname(os.path.dirname(os.path.abspath(__file__)))),
                    "src/wire/protocol")
# Which objects a document of each schema may be.
DOCUMENTS = {
    "findings": ("lugmark.findings/1", ["findings"]),
    "event": ("lugmark event line", ["event"]),
    "control": ("lugmark.control/1, a line from the daemon",
                ["greeting", "answer", "refusal", "verdict", "session_event", "tally_event",
                 "reader_event", "journal_event", "idle_event"]),
    "request": ("lugmark.control/1, a line from a client", ["request"]),
}
WORD = r'"[^"]*"|[^ "]+'
PLAIN = {
    "text": {"type": "string"}, "integer": {"type": "integer"}, "number": {"type": "number"},
    "bool": {"type": "boolean"}, "true": {"const": True}, '"false"': {"const": False},
    "null": {"type": "null"}, "any": {},
    "time": {"type": "string", "pattern": r"^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d+)?Z$"},
    "date": {"type": "string", "pattern": r"^\d{4}(-\d\d(-\d\d)?)?$"},
    "code": {"type": "string", "pattern": r"^(\d{15}|(0x)?[0-9A-F]{16}|uid:[0-9A-F]+)$"},
}


def read():
    """name -> (where it is said, [(key, optional, type, unit, since, meaning)])."""
    objects, here = {}, None
    with open(os.path.join(HOME, "keys"), encoding="utf-8") as file:
        for at, line in enumerate(file, 1):
            parts = [p.strip() for p in line.strip().split(" | ")]
            if not line.strip() or line.startswith("#"):
                continue
            if line.startswith("object "):
                here = objects[parts[0][7:]] = (parts[1], [])
            elif line.startswith("+ "):
                here[1].extend(objects[line[2:].strip()][1])
            elif len(parts) == 5 and all(parts):
                here[1].append((parts[0].rstrip("?"), parts[0].endswith("?"), *parts[1:]))
            else:
                sys.exit(f"keys:{at}: KEY | TYPE | UNIT | SINCE | MEANING")
    for name, (_, keys) in objects.items():
        if len({k[0] for k in keys}) != len(keys):
            sys.exit(f"keys: object {name} has a key twice")
    return objects


def type_of(text, objects):
    if text.startswith("one of ") and " or " not in text:
        return {"enum": [w.strip('"') for w in re.findall(WORD, text[7:])]}
    ways = text.split(" or ")
    if len(ways) > 1:
        return {"anyOf": [type_of(w, objects) for w in ways]}
    if text.startswith("list of "):
        return {"type": "array", "items": type_of(text[8:], objects)}
    if text in PLAIN:
        return PLAIN[text]
    if re.fullmatch(r'"[^"]*"', text):
        return {"const": text.strip('"')}
    if text not in objects:
        sys.exit(f"keys: no type is called {text}")
    return {"$ref": f"#/$defs/{text}"}


def needed(name, objects, seen):
    """The objects that one leads to."""
    if name not in seen:
        seen.append(name)
        for key in objects[name][1]:
            for word in re.findall(r"\w+", key[2]):
                if word in objects and f"list of {word}" in key[2] or word in key[2].split(" or "):
                    if word in objects:
                        needed(word, objects, seen)
    return seen


def schema(document, objects):
    title, roots = DOCUMENTS[document]
    names = []
    for root in roots:
        needed(root, objects, names)
    defs = {}
    for name in names:
        where, keys = objects[name]
        defs[name] = {
            "type": "object", "description": where,
            "properties": {key: dict(type_of(kind, objects), description=meaning
                                     + ("" if unit == "-" else f" ({unit})"))
                           for key, _, kind, unit, _, meaning in keys},
            "required": [key for key, optional, *_ in keys if not optional]}
    ways = [{"$ref": f"#/$defs/{root}"} for root in roots]
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", "title": title,
            "description": "Keys are only ever added: take no offence at one that is not here.",
            **(ways[0] if len(ways) == 1 else {"anyOf": ways}), "$defs": defs}


def page(objects):
    out = ["# JSON keys", "", "Made from `src/wire/protocol/keys`; edit that. Keys are only ever added, and "
           "whoever reads ignores what is not here. Times are RFC 3339 in UTC, codes are text.", ""]
    for name, (where, keys) in objects.items():
        out += [f"## {name}", "", where[0].upper() + where[1:] + ".", "",
                "| key | type | unit | since | meaning |", "|---|---|---|---|---|"]
        for key, optional, kind, unit, since, meaning in keys:
            shown = kind.replace('"', "").replace("|", "\\|") if kind != '"false"' else "false"
            out.append(f"| `{key}`{' (may be missing)' if optional else ''} | {shown} | {unit} | {since} "
                       f"| {meaning} |")
        out.append("")
    return "\n".join(out)


def made():
    """file -> what it must hold."""
    objects = read()
    out = {f"{d}.schema.json": json.dumps(schema(d, objects), indent=1, ensure_ascii=False) + "\n"
           for d in DOCUMENTS}
    out["protocol.md"] = page(objects)
    return out


def faults(value, rule, root, strict=True, at=""):
    """What of a value is against a rule; strict: also a key that the rule does not know."""
    if "$ref" in rule:
        return faults(value, root["$defs"][rule["$ref"].rsplit("/", 1)[1]], root, strict, at)
    if "anyOf" in rule:
        each = [faults(value, way, root, strict, at) for way in rule["anyOf"]]
        best = min(each, key=lambda e: (len(e), str(e)))
        return best
    kinds = {"string": str, "integer": int, "number": (int, float), "boolean": bool,
             "null": type(None), "array": list, "object": dict}
    kind = rule.get("type")
    if kind and (not isinstance(value, kinds[kind]) or (isinstance(value, bool) and kind != "boolean")):
        return [f"{at or '/'} is {value!r}, not {kind}"]
    if "const" in rule and (value != rule["const"] or type(value) is not type(rule["const"])):
        return [f"{at or '/'} is {value!r}, not {rule['const']!r}"]
    if "enum" in rule and value not in rule["enum"]:
        return [f"{at or '/'} is {value!r}, not one of {rule['enum']}"]
    if "pattern" in rule and not re.search(rule["pattern"], value):
        return [f"{at or '/'} is {value!r}, not like {rule['pattern']}"]
    out = []
    if kind == "array" and "items" in rule:
        for i, item in enumerate(value):
            out += faults(item, rule["items"], root, strict, f"{at}/{i}")
    if kind == "object":
        out += [f"{at or '/'} has no {key}" for key in rule.get("required", ()) if key not in value]
        for key, item in value.items():
            if key in rule["properties"]:
                out += faults(item, rule["properties"][key], root, strict, f"{at}/{key}")
            elif strict:
                out.append(f"{at}/{key} is in no table")
    return out


def load(document):
    with open(os.path.join(HOME, f"{document}.schema.json"), encoding="utf-8") as file:
        return json.load(file)


def main():
    bad = 0
    for name, text in made().items():
        path = os.path.join(HOME, name)
        if sys.argv[1:] == ["make"]:
            with open(path, "w", encoding="utf-8") as file:
                file.write(text)
            continue
        try:
            with open(path, encoding="utf-8") as file:
                same = file.read() == text
        except FileNotFoundError:
            same = False
        if not same:
            print(f"{path} is not what keys says; to mend: tests/system/protocol.py make")
            bad = 1
    return bad


if __name__ == "__main__":
    sys.exit(main())
