"""Bytes that are no text, in every place where text comes in: refused or repaired, never passed on."""
import json
import os
import unittest

import tap
from cli import CliTest

BAD = b"a\xff\xc3\x28\x80\xed\xa0\x80z"


class Bytes(CliTest):
    """run_() takes everything that is written as UTF-8, so each call also looks at that."""

    def setUp(self):
        super().setUp()
        self.good("init")
        self.good("add", "--species", "goat", "--mob", "does", "--visual", "0001", "--eid", "999000000000001")
        self.before = self.good("export")

    def file(self, name, data):
        with open(os.path.join(os.fsencode(self.dir), os.fsencode(name)), "wb") as out:
            out.write(data)
        return name

    def test_words_for_the_register_are_refused(self):
        for args in (("add", "--species", "goat", "--visual", BAD), ("add", "--species", BAD),
                     ("add", "--species", "goat", "--animal", BAD), ("edit", "0001", "--mob", BAD),
                     ("edit", "0001", "--breed", BAD), 
                     ("retag", "0001", "--visual", BAD, "--reason", "lost"),
                     ("retag", "0001", "--visual", "0009", "--reason", BAD), ("die", "0001", "--why", BAD),
                     ("move", "0001", "--mob", BAD), ("merge", "0001", BAD),
                     ("split", "0001", "--device", "999000000000001", "--new", BAD),
                     ("init", "--db", "other.db", "--holding", BAD)):
            self.assertIn(self.run_(*args).returncode, (2, 3), args)
        self.assertEqual(self.good("export"), self.before)

    def test_words_for_the_daemon_are_refused(self):
        for args in (("open", "walk", "--mob", BAD), ("open", "count", "--count", BAD), ("saw", BAD), ("head", BAD)):
            self.assertEqual(self.run_(*args).returncode, 2, args)

    def test_words_that_are_looked_for_are_repaired(self):
        for args in (("find", BAD), ("show", BAD), ("decode", BAD), ("report", BAD), ("findings", BAD), ("stock", BAD),
                     (BAD,), (b"--" + BAD,), ("find", b"--" + BAD), ("help", BAD), ("statement", "--from", BAD),
                     ("verify", BAD)):
            done = self.run_(*args)
            self.assertIn(done.returncode, (1, 2, 3), args)
            self.assertIn("a??(????z", done.stdout + done.stderr, args)
        self.assertEqual(json.loads(self.good("decode", BAD, "--json", exit_code=3))["text"], "a??(????z")

    def test_what_is_said_and_kept_of_a_word_is_repaired(self):
        self.good("edit", "0001", "--breed", "x", "--why", BAD)
        self.good("sell", "0001", "--to", BAD)
        told = self.good("show", "0001", "--history")
        self.assertIn("to a??(????z", told)
        self.assertEqual(told.count("??(??"), 2, told)

    def test_files(self):
        self.file("good.csv", b"animal,species,mob,visual,eid\nA1,goat,does,0002,999000000000009\n")
        for name, data, args in (
                ("a.csv", b"animal,species,mob,visual\nA1,goat," + BAD + b",0002\n", ("import", "a.csv")),
                ("b.csv", b"animal,species," + BAD + b"\nA1,goat,x\n", ("import", "b.csv")),
                ("c.csv", b"lane,eid\n" + BAD + b",999000000000009\n",
                 ("reconcile", "--register", "good.csv", "--readings", "c.csv")),
                ("d.csv", b"number\n" + BAD + b"\n", ("reconcile", "--register", "good.csv", "--sightings", "d.csv")),
                ("e.jsonl", b'{"reading":"' + BAD + b'"}\n',
                 ("reconcile", "--register", "good.csv", "--events", "e.jsonl")),
                ("f.conf", b"[reader " + BAD + b"]\nport = " + BAD + b"\n",
                 ("readers", "--try", "good.csv", "--config", "f.conf")),
                ("g.csv", b"strip,position,eid,visual,form\nS,1,999000000000077," + BAD + b",flag tag\n",
                 ("stock", "import", "g.csv")),
                ("h.json", b'{"x":"' + BAD + b'"}', ("import", "--format", "icar", "h.json")),
                ("i.map", BAD + b" = " + BAD + b"\n", ("import", "good.csv", "--mapping", "i.map"))):
            self.file(name, data)
            error = self.bad(*args)
            self.assertRegex(error, rf"(?m)^{name}:\d+:", args)
        self.assertEqual(self.good("export"), self.before)

    def test_names_of_files_are_any_bytes(self):
        name = b"r\xffg.csv"
        self.file(name, b"animal,species\nA1," + BAD + b"\n")
        self.assertIn("r?g.csv", self.bad("import", name))
        self.assertIn("no?", self.bad("import", b"no\xff"))
        self.assertIn("n?.db", self.good("init", "--db", b"n\xff.db"))
        self.assertEqual(json.loads(self.good("init", "--db", b"m\xff.db", "--json"))["register"], "m?.db")
        self.assertIn("b?.db", self.good("backup", b"b\xff.db"))
        self.assertEqual(json.loads(self.good("backup", b"c\xff.db", "--json"))["backup"], "c?.db")
        self.good("export", "--output", b"x\xff.csv")
        with open(os.path.join(os.fsencode(self.dir), b"x\xff.csv"), encoding="utf-8", newline="") as out:
            self.assertEqual(out.read(), self.before)


if __name__ == "__main__":
    tap.main()
