"""Supply lists: taken all or nothing, and what is left of each strip."""
import json

import cli
import tap

HEAD = "strip,position,eid,visual,form,colour,official,received\n"
LIST = HEAD + "".join(
    f"S1,{i},9990000000000{i:02},{i:04},flag tag,yellow,yes,2026-02-03\n" for i in range(1, 6)
) + "L2,1,,9001,leg band,red,no,\n"


class Stock(cli.CliTest):
    def setUp(self):
        super().setUp()
        self.good("init")

    def lines(self, *args, **more):
        return [json.loads(line) for line in
                self.good("stock", *args, "--json", **more).splitlines()]

    def test_import_and_lists(self):
        self.write("s.csv", LIST)
        out = self.good("stock", "import", "s.csv", "--dry-run")
        self.assertIn("2 strips, 6 devices; nothing was changed", out)
        self.assertEqual(self.lines(), [])
        done = self.run_("stock", "import", "s.csv", "--json")
        self.assertEqual((done.returncode, done.stderr), (0, ""))
        self.assertEqual(json.loads(done.stdout), {"strips": 2, "devices": 6, "dry_run": False})
        self.good("add", "--visual", "0002", "--eid", "999000000000002")
        s1, l2 = self.lines()
        self.assertEqual((s1["strip"], s1["left"], s1["worn"], s1["gone"], s1["items"]),
                         ("S1", 4, 1, 0, 5))
        self.assertEqual((s1["form"], s1["colour"], s1["received"], s1["official"]),
                         ("flag tag", "yellow", "2026-02-03", True))
        self.assertEqual((s1["next"]["position"], s1["next"]["visual"]), (3, "0003"))
        self.assertEqual((l2["received"], l2["official"], l2["next"]["eid"]), (None, False, None))
        text = self.good("stock")
        self.assertIn("S1: official yellow flag tag, received 2026-02-03; 4 of 5 left; "
                      "next 0003 (position 3)", text)
        self.assertIn("L2: management red leg band; 1 of 1 left; next 9001", text)

    def test_show_and_find(self):
        self.write("s.csv", LIST)
        self.good("stock", "import", "s.csv")
        key = self.json("add", "--visual", "0002", "--eid", "999000000000002")
        rows = self.lines("show", "S1")
        self.assertEqual([r["position"] for r in rows], [1, 2, 3, 4, 5])
        self.assertEqual([r["use"] for r in rows], ["left", "worn", "left", "left", "left"])
        self.assertTrue(rows[1]["animal"], key)
        self.assertIn("S1 2: 0002 / 999000000000002  worn", self.good("stock", "show", "S1"))
        for word in ("0004", "999 000000000004", "999000000000004"):
            self.assertEqual([r["position"] for r in self.lines("find", word)], [4])
        self.assertIn("no strip S9", self.bad("stock", "show", "S9"))
        self.assertIn("no strip of the stock holds 777",
                      self.bad("stock", "find", "777", exit_code=1))

    def test_refused_by_place(self):
        self.write("s.csv", LIST)
        self.good("stock", "import", "s.csv")
        self.write("bad.csv", HEAD + "T,1,9.99E+14,1,,,,\nT,2,,2,rosette,,,\nT,x,,3,,,,\n")
        said = self.bad("stock", "import", "bad.csv")
        for part in ("bad.csv:2:3:", "spreadsheet", "bad.csv:3:5:", "bad.csv:4:2:",
                     "nothing was taken from bad.csv"):
            self.assertIn(part, said)
        said = self.bad("stock", "import", "s.csv")
        self.assertIn("s.csv:2: strip S1 has position 1 in the stock already", said)
        self.assertEqual(len(self.lines()), 2)
        self.write("gap.csv", HEAD + "T,1,,1,,,,\nT,3,,3,,,,\n")
        self.assertIn("gap.csv:3:2:", self.bad("stock", "import", "gap.csv"))
        self.assertIn("cannot be opened", self.bad("stock", "import", "none.csv"))

    def test_used_devices(self):
        self.good("add", "--visual", "0002", "--eid", "999000000000002")
        self.write("s.csv", LIST)
        said = self.bad("stock", "import", "s.csv")
        self.assertIn("s.csv:3: 999000000000002 / 0002 is on animal", said)
        self.assertIn("--allow-used", said)
        self.good("stock", "import", "s.csv", "--allow-used")
        self.write("t.csv", HEAD + "T,1,999000000000007,0002,flag tag,,,\n")
        self.assertIn("0002", self.bad("stock", "import", "t.csv", "--allow-used"))

    def test_note_on_order(self):
        done = self.run_("stock", "import", "-",
                         stdin=HEAD + "T,1,,1,,,,\nT,2,,2,,,,\nT,3,,9,,,,\nT,4,,4,,,,\n")
        self.assertEqual(done.returncode, 0, done.stderr)
        self.assertIn("note: standard input:5: the printed numbers of strip T", done.stderr)

    def test_wrong_use(self):
        for args in (("eat",), ("show",), ("find", ""), ("import",), ("--dry-run",),
                     ("show", "S", "T")):
            self.bad("stock", *args, exit_code=2)
        self.assertIn("no supply lists", self.run_("stock").stderr)

    def test_verify(self):
        self.write("s.csv", LIST)
        self.good("stock", "import", "s.csv")
        self.good("verify")


if __name__ == "__main__":
    tap.main()
