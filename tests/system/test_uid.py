"""Chips known by their number, from the command line: decode, tag, find, files, reconcile."""
import json

import tap
from cli import CliTest

REGISTER = ("animal,species,status,form,colour,eid,visual,uid\n"
            "A1,goat,on-farm,flag tag,yellow,999000000000001,0001,04A1B2C3D4E5F6\n"
            "A2,goat,on-farm,flag tag,yellow,999000000000002,0002,\n"
            "A3,goat,on-farm,leg band,red,,0003,DEADBEEF\n")


class Uid(CliTest):
    def fill(self):
        self.good("init")
        self.good("import", self.write("r.csv", REGISTER))

    def test_decode(self):
        block = self.good("decode", "UID:04:a1:b2:c3:d4:e5:f6")
        self.assertIn("uid:04A1B2C3D4E5F6", block)
        self.assertIn("7", block)
        got = self.json("decode", "uid:E004000000000001")
        self.assertEqual((got["eid"], got["uid"], got["bytes"], got["flags"], got["country"]),
                         ("uid:E004000000000001", "E004000000000001", 8, [], None))
        self.assertEqual(self.json("decode", "uid:08010203", exit_code=1)["flags"], ["random-uid"])
        self.assertIn("uid:04A1B2C3", self.good("decode", "uid:04A1B2C3", "uid:04A1B2C4"))
        for bad in ("uid:", "uid:04A", "uid:04A1B2", "uid:00000000", "uid:0400000000000G"):
            self.assertIn("to mend:", self.bad("decode", bad))

    def test_tag(self):
        self.fill()
        self.assertIn("chip E004000000000001", self.good("tag", "A2", "--uid", "e004000000000001"))
        self.good("tag", "A2", "--uid", "uid:E004000000000001")  # again: nothing changes
        self.assertIn("has the chip", self.bad("tag", "A2", "--uid", "04000000000001"))
        self.assertIn("worn by animal A1", self.bad("tag", "A3", "--new", "leg band",
                                                    "--uid", "04A1B2C3D4E5F6"))
        self.assertIn("begins with 08", self.bad("tag", "A2", "--uid", "08010203"))
        self.assertIn("--uid cannot be", self.bad("tag", "A2", "--uid", "0801020"))
        self.assertIn("--uid cannot be", self.bad("tag", "A2", "--uid", ""))
        got = self.json("tag", "A2", "--uid", "04000000000002", "--new", "leg band")
        self.assertEqual([d.get("uid") for d in got["devices"]],
                         ["E004000000000001", "04000000000002"])
        self.assertIn("wears 2 devices", self.bad("tag", "A2", "--uid", "04000000000003"))
        self.good("tag", "A2", "--uid", "E004000000000001", "--visual", "0002")
        self.good("tag", "A2", "--uid", "E004000000000001", "--eid", "999 000000000002")
        self.assertIn("no such device", self.bad("tag", "A2", "--uid", "04000000000003",
                                                 "--visual", "0009"))
        self.bad("tag", "A2", exit_code=2)
        self.bad("tag", "A2", "--uid", "04000000000003", "--new", "leg band", "--visual", "1",
                 exit_code=2)
        self.bad("tag", "A9", "--uid", "04000000000003")
        self.assertIn("--new cannot be", self.bad("tag", "A2", "--uid", "04000000000003",
                                                  "--new", "hat"))
        self.good("verify")

    def test_find_and_show(self):
        self.fill()
        for word in ("uid:04A1B2C3D4E5F6", "04a1b2c3d4e5f6", "UID:04-A1-B2-C3-D4-E5-F6"):
            self.assertIn("A1", self.good("find", word))
            self.assertIn("0001", self.good("show", word))

    def test_a_chip_is_no_code_of_a_device(self):
        self.fill()
        self.assertIn("give it with --uid", self.bad("add", "--eid", "uid:01020304"))
        said = self.bad("import", self.write("bad.csv", "animal,eid\nA9,uid:01020304\n"))
        self.assertIn("bad.csv:2", said)
        self.assertIn("column uid", said)

    def test_files_carry_them(self):
        self.fill()
        self.good("export", "--output", self.path("out.csv"))
        self.assertIn("04A1B2C3D4E5F6", self.text("out.csv"))
        self.good("init", "--db", self.path("two.db"))
        self.good("import", "--db", self.path("two.db"), "out.csv")
        self.assertIn("A3", self.good("find", "--db", self.path("two.db"), "uid:DEADBEEF"))

    def test_reconcile(self):
        self.write("r.csv", REGISTER)
        readings = self.write("read.txt", "uid:04A1B2C3D4E5F6\nuid:deadbeef\nuid:01020304\n")
        got = self.json("reconcile", "--register", "r.csv", "--readings", readings, exit_code=1)
        self.assertEqual((got["expected"], got["present"], got["readings"]), (3, 2, 3))
        self.assertEqual([(f["reason"], f["animal"], f["eid"]) for f in got["findings"]],
                         [("not-seen", "A2", ["999000000000002"]),
                          ("not-in-register", None, ["uid:01020304"])])
        events = "".join(json.dumps(e) + "\n" for e in (
            {"open": {"kind": "walk"}}, {"reading": "uid:04A1B2C3D4E5F6"},
            {"sighting": "0001", "with": "uid:04A1B2C3D4E5F6"},
            {"sighting": "0002", "with": "uid:DEADBEEF"}, {"reading": "uid:DEADBEEF"},
            {"reading": "uid:"}, {"close": True}))
        got = self.json("reconcile", "--register", "r.csv", "--events",
                        self.write("e.ndjson", events), exit_code=1)
        kinds = [(f["kind"], f["animal"], f["eid"]) for f in got["findings"]]
        self.assertIn(("conflict", "A3", ["uid:DEADBEEF"]), kinds)
        self.assertIn("doubtful", [k for k, _, _ in kinds])
        self.assertNotIn(("unmatched", None, ["uid:DEADBEEF"]), kinds)


if __name__ == "__main__":
    tap.main()
