"""What the programs say as JSON is what the table of keys says, key by key, and the page and the
schemas are made from that table. An unknown key fails, and so does a key that nobody ever says."""
import json
import os
import subprocess

import protocol
import tap
from yard import LUGMARK, DaemonTest, code

# Keys that take a fault of the machine or a page to be said; other tests look at them.
NOT_HERE = {("journal_event", "event"), ("journal_event", "state"), ("journal_event", "problem"),
            ("findings", "explanations"), ("idle_event", "text")}


class Table(DaemonTest):
    def test_page_and_schemas_are_made_from_the_table(self):
        for name, text in protocol.made().items():
            with open(os.path.join(protocol.HOME, name), encoding="utf-8") as file:
                self.assertEqual(file.read(), text, f"{name}: tests/system/protocol.py make")

    def test_the_check_can_fail(self):
        rules = protocol.load("event")
        good = {"t": "2026-11-02T08:00:01.250Z", "lane": "1", "reading": code(1)}
        self.assertEqual(protocol.faults(good, rules, rules), [])
        for bad, part in (({**good, "lain": "1"}, "/lain is in no table"),
                          ({**good, "t": "yesterday"}, "/t is 'yesterday'"),
                          ({**good, "heads": True}, "/heads is True, not integer"),
                          ({**good, "doubt": "none"}, "not one of"),
                          ({**good, "open": {"id": "1"}}, "/open has no kind"),
                          ({**good, "register": {"animal": "A", "devices": [{"colour": 1}]}},
                           "/register/devices/0/colour is 1, not string")):
            got = protocol.faults(bad, rules, rules)
            self.assertEqual(len(got), 1, got)
            self.assertIn(part, got[0])
        self.assertEqual(protocol.faults({**good, "lain": "1"}, rules, rules, strict=False), [])


class Said(DaemonTest):
    def holds(self, document, lines):
        rules = protocol.load(document)
        self.assertTrue(lines)
        for line in lines:
            self.assertEqual(protocol.faults(line, rules, rules), [], line)

    def test_the_control_socket(self):
        y = self.yard()
        c = y.client(watch=True)
        asked = []

        def ask(verb, **more):
            asked.append({"do": verb, **more})
            return c.ask(verb, **more)

        y.ports["front"].read(code(1))
        c.event("idle")
        ask("open", kind="sale", lot="L", animals=["A1", "A2"], who="keeper", token="t", id=[7])
        ask("open", kind="sale", token="t")
        for number in (1, 1, 3, 90001):
            y.ports["front"].read(code(number))
            c.event("verdict")
        for _ in range(2):
            y.ports["front"].write(b"999999999999999\r\n")
            c.event("verdict")
        ask("saw", number="7777")
        ask("head", n=7)
        ask("undo")
        ask("undo", lane=None)
        ask("undo")
        y.ports["front"].read(code(1))
        c.event("verdict")
        ask("saw", number="0002", on_last=True, lane="1")
        y.lugmark("move", "A2", "--mob", "bucks")
        c.event("tally")
        ask("status")
        ask("readers")
        ask("findings", text=True)
        ask("fly")
        ask("close")
        ask("watch", after=0)
        y.ports["front"].unplug()
        c.event("reader")
        self.holds("control", c.heard)
        self.holds("request", [a for a in asked if a["do"] != "fly"])
        self.said_once("control", c.heard)

    def said_once(self, document, lines):
        """Each key of the table was really said."""
        rules, said = protocol.load(document), set()
        for line in lines:
            note(line, rules, rules, said)
        table = {(name, key) for name, keys in rules["$defs"].items() for key in keys["properties"]
                 if name not in ("explanation",)}
        self.assertEqual(table - said - NOT_HERE, set())

    def test_findings_explanations_and_events(self):
        y = self.yard()
        c = y.client(watch=True)
        c.ask("open", kind="walk", mob="does", count="2026", who="keeper")
        y.ports["front"].read(*[code(n) for n in range(1, 39)], "999000000077777")
        y.ports["front"].write(b"999999999999999\r\n")
        c.ask("saw", number="0039", on_last=True)
        c.ask("head", n=40)
        c.ask("undo")
        y.lugmark("move", "A2", "--mob", "bucks")
        c.event("tally")
        c.ask("close")
        found = json.loads(y.lugmark("findings", "--json", good=False).stdout)
        self.holds("findings", [found])
        events = y.lugmark("export", "--format", "events").stdout.splitlines()
        self.holds("event", [json.loads(line) for line in events])
        animals = y.lugmark("export", "--json").stdout.splitlines()
        rules = protocol.load("event")
        for line in animals:
            self.assertEqual(protocol.faults(json.loads(line), rules["$defs"]["animal"], rules), [], line)
        explained = json.loads(y.lugmark("explain", "--json", good=False).stdout)
        rules = protocol.load("findings")
        self.assertTrue(explained)
        for one in explained:
            self.assertEqual(protocol.faults(one, rules["$defs"]["explanation"], rules), [], one)

    def test_reconcile(self):
        y = self.yard(start=False)
        register = os.path.join(y.dir, "register.csv")
        readings = "\n".join(code(n) for n in range(1, 39)) + "\n999000000077777\n9.99E+14\n"
        done = subprocess.run([LUGMARK, "reconcile", "--register", register, "--readings", "-",
                               "--explain", "--json"], input=readings, capture_output=True, text=True,
                              timeout=60, check=False)
        self.assertEqual(done.returncode, 1, done.stderr)
        found = json.loads(done.stdout)
        self.assertTrue(found["explanations"])
        self.holds("findings", [found])


def note(value, rule, root, said):
    """Which keys of which object a value uses."""
    if "$ref" in rule:
        name = rule["$ref"].rsplit("/", 1)[1]
        if isinstance(value, dict):
            said.update((name, key) for key in value)
        note(value, root["$defs"][name], root, said)
    elif "anyOf" in rule:
        for way in rule["anyOf"]:
            if not protocol.faults(value, way, root):
                note(value, way, root, said)
    elif isinstance(value, list):
        for item in value:
            note(item, rule.get("items", {}), root, said)
    elif isinstance(value, dict):
        for key, item in value.items():
            note(item, rule.get("properties", {}).get(key, {}), root, said)


if __name__ == "__main__":
    tap.main()
