"""Foreign CSV layouts by a mapping, and CSV for spreadsheet programs."""
import csv
import io
import os
import shutil

import cli
import tap

FIXTURES = os.path.join(os.path.dirname(os.path.abspath(__file__)), "../../fixtures/mappings")
BOM = "\ufeff"
GUARDS = ["=1+1", "+7", "-12", "@x", "=cmd|'/c calc'!A0", "'=x", "''-3", "'plain", "a=b", "'"]


class Mapping(cli.CliTest):
    def setUp(self):
        super().setUp()
        self.good("init")
        for name in os.listdir(FIXTURES):
            shutil.copy(os.path.join(FIXTURES, name), self.dir)

    def rows(self):
        return list(csv.DictReader(io.StringIO(self.good("export"), newline="")))

    def refused(self, ini, text, *parts):
        """The mapping is refused: each part is said; nothing is in the register."""
        self.write("m.ini", ini)
        self.write("r.csv", text)
        said = self.bad("import", "--mapping", "m.ini", "r.csv")
        for part in parts:
            self.assertIn(part, said)
        self.assertEqual(self.rows(), [])
        return said

    def test_a_yard_book(self):
        self.assertIn("3 animals", self.good("import", "-n", "--mapping", "yard.ini", "yard.csv"))
        self.assertEqual(self.rows(), [])
        self.good("import", "--mapping", "yard.ini", "yard.csv")
        a, b, c = self.rows()
        self.assertEqual([a["animal"], a["eid"], a["sex"], a["born"], a["dam"], a["species"],
                          a["status"], a["official"], a["form"]],
                         ["0417", "999000000000417", "female", "2024-04-03", "0101", "sheep",
                          "on-farm", "1", "flag tag"])
        self.assertEqual([b["sex"], b["castrated"], b["born"], b["dam"]],
                         ["male", "1", "2024-04-13", ""])
        self.assertEqual([c["status"], c["born"]], ["sold", "2020"])

    def test_a_society_list(self):
        self.good("import", "--mapping", "society.ini", "society.csv")
        a, b = self.rows()
        self.assertEqual([a["animal"], a["born"], a["breed"], a["colour"], a["eid"]],
                         ["Bramble", "2023-04-03", "Hill; old type", "yellow",
                          "999000000000501"])
        self.assertEqual([b["animal"], b["born"]], ["Thistle", "2022-12-31"])

    def test_an_office_table(self):
        self.good("import", "--mapping", "office.ini", "office.csv")
        rows = self.rows()
        self.assertEqual([(r["animal"], r["form"], r["born"], r["sex"]) for r in rows],
                         [("K1", "button tag", "2024-05-06", "female"),
                          ("K1", "flag tag", "2024-05-06", "female"),
                          ("K2", "flag tag", "2024-05", "male")])

    def test_dates_are_never_guessed(self):
        text = "eid,Born on\n999000000000001,03/04/2024\n"
        self.refused("[columns]\nBorn on = born\n", text,
                     "r.csv:2:2: Born on (born): not a date", "never guessed")
        for order, want in (("dmy", "2024-04-03"), ("mdy", "2024-03-04")):
            self.write("m.ini", f"[file]\ndates = {order}\n[columns]\nBorn on = born\n")
            self.good("import", "--mapping", "m.ini", "r.csv")
            self.assertEqual(self.rows()[0]["born"], want)
        for bad in ("31/02/2024", "3/4/24", "2024/04/03", "03/04-2024", "3/4/2024 ", "03//2024",
                    "13.13.2024", "003/4/2024"):
            self.write("r.csv", f"eid,Born on\n999000000000001,\"{bad}x\"\n")
            self.bad("import", "--mapping", "m.ini", "r.csv")
        self.write("r.csv", "eid,Born on\n999000000000001,4/13/2024\n999000000000002,13/4/2024\n")
        self.assertIn("r.csv:3:2: Born on (born)", self.bad("import", "--mapping", "m.ini", "r.csv"))

    def test_mistakes_in_a_mapping_are_told_with_their_line(self):
        text = "Tag,Chip\n1,999000000000001\n"
        said = self.refused(
            "[columns]\nTag = visaul\nChip = eid\nOther = eid\n[sexes]\nx = y\n[sex]\nEwe = femal\n"
            "[constants]\neid = 1\nstatus = here today\n[file]\ndates = dym\nnothing\n", text,
            "m.ini:2: we have no column visaul", "did you mean visual?",
            "m.ini:4: eid is Chip already, on line 3: two columns cannot both be it",
            "m.ini:5: no section is called sexes",
            "m.ini:8: sex cannot be femal", "m.ini:10: eid tells animals apart",
            "m.ini:11: status cannot be here today", "m.ini:13: dates cannot be dym",
            "m.ini:14: this line is neither a section nor a pair")
        self.assertNotIn("r.csv", said)
        for ini, part in (
                ("[columns]\nTag = visual\ntag = eid\n", "m.ini:3: tag is named on line 2 already"),
                ("[columns]\nTag = sex\n[constants]\nsex = male\n",
                 "m.ini:4: sex is column Tag already, on line 2"),
                ("[constants]\nsex = male\n[columns]\nTag = sex\n",
                 "m.ini:4: sex is a constant already, on line 2"),
                ("[sex]\nE = ewe\ne = ram\n", "m.ini:3: e is named on line 2 already"),
                ("Tag = visual\n", "m.ini:1: this line stands in no section"),
                ("\n", "the mapping is empty"), ("[columns]\nTag = " + "x" * 2000, "longer than"),
                ("[columns]\n\"Tag = visual\n", "m.ini:2:"), ("[columns\n", "m.ini:1:"),
                ("[columns]\nT\0g = visual\n", "m.ini:2: the line is not clean"),
                ("[eid]\nnone = 999000000000009\n", "m.ini:2: eid cannot be 999000000000009")):
            self.refused(ini, text, part)
        self.assertIn("cannot be opened", self.bad("import", "--mapping", "none.ini", "yard.csv"))

    def test_what_the_mapping_and_the_file_disagree_on(self):
        text = "Tag,Chip,Weight\n1,999000000000001,30\n"
        self.refused("[columns]\nTag = visual\nChip = eid\n", text,
                     "r.csv:1:3: neither the mapping nor we know a column Weight", "= ignore")
        self.refused("[file]\nothers = ignore\n[columns]\nTga = visual\nChip = eid\n", text,
                     "m.ini, line 4, names a column Tga that is not here")
        self.refused("[file]\nothers = ignore\n[columns]\nChip = eid\n[constants]\nsex = male\n",
                     "Chip,sex\n999000000000001,female\n", "r.csv:1:2:", "m.ini, line 6")
        self.refused("[columns]\nChip = eid\n", "Chip,eid\n999000000000001,999000000000002\n",
                     "the column eid is there twice")

    def test_the_strict_checks_stay(self):
        ini = "[columns]\nTag = visual\nChip = eid\nKind = sex\n"
        self.refused(ini, "Tag,Chip,Kind\n1,9.99E+14,Ewe\n2,999000000000002,Cow\n",
                     "r.csv:2:2: Chip (eid): ", "r.csv:3:3: Kind (sex): unknown word: Cow")
        self.refused(ini, "Tag,Chip,Kind\n1,999000000000001\n", "r.csv:2:3: 2 cells")

    def test_constants_make_no_device(self):
        self.write("m.ini", "[columns]\nTag = visual\n[constants]\nform = flag tag\n")
        self.write("r.csv", "animal,Tag\nA1,1\nA2,\n")
        self.assertEqual(self.good("import", "--mapping", "m.ini", "r.csv"),
                         "2 animals, 1 devices\n")

    def test_wrong_use(self):
        for args in (["import", "--format", "xml", "yard.csv"],
                     ["import", "--format", "icar", "--mapping", "yard.ini", "yard.csv"],
                     ["export", "--spreadsheet", "--json"],
                     ["export", "--spreadsheet", "--format", "events"],
                     ["export", "--what", "animals"]):
            self.bad(*args, exit_code=2)


class Spreadsheet(cli.CliTest):
    def filled(self):
        """A register whose every text would be run as a formula, or looks as if it were guarded."""
        self.good("init")
        out = io.StringIO(newline="")
        w = csv.writer(out)
        w.writerow("animal species breed dam sire mob colour why visual eid removed".split())
        for i, text in enumerate(GUARDS):
            w.writerow([f"{text}{i}", text, text, text, text, text, text, text, text,
                        f"036000000{i + 1:06d}", "2026-01-02"])
        self.write("r.csv", out.getvalue())
        self.good("import", "r.csv")
        return self.good("export")

    def test_nothing_can_run_and_nothing_is_lost(self):
        machine = self.filled()
        sheet = self.good("export", "--spreadsheet")
        self.assertTrue(sheet.startswith(BOM))
        self.assertFalse(machine.startswith(BOM))
        for row in csv.reader(io.StringIO(sheet[1:], newline="")):
            for cell in row:
                self.assertNotIn(cell[:1] or " ", "=+-@\t\r\n", cell)
        for text in GUARDS:
            self.assertIn(text, machine)
        for text in (sheet, machine):
            self.good("init", "--db", "b.db")
            self.write("again.csv", text)
            self.good("import", "--db", "b.db", "again.csv")
            self.assertEqual(self.good("export", "--db", "b.db"), machine)
            self.assertEqual(self.good("export", "--db", "b.db", "--spreadsheet"), sheet)
            os.remove(self.path("b.db"))

    def test_only_free_text_is_guarded(self):
        self.filled()
        row = list(csv.DictReader(io.StringIO(self.good("export", "--spreadsheet")[1:],
                                              newline="")))[0]
        self.assertEqual([row["eid"], row["eid_text"], row["removed"]],
                         ["036000000000001", "036-000000000001", "2026-01-02"])

    def test_what_a_spreadsheet_does_to_the_codes_is_mended_by_their_text(self):
        self.filled()
        sheet = self.good("export", "--spreadsheet")
        rows = list(csv.DictReader(io.StringIO(sheet[1:], newline="")))
        out = io.StringIO(newline="")
        w = csv.DictWriter(out, rows[0].keys())
        w.writeheader()
        for row, damage in zip(rows, ("3.6E+13", str(int(rows[1]["eid"])), "36000000000003.0")):
            w.writerow(dict(row, eid=damage))
        self.good("init", "--db", "b.db")
        self.write("saved.csv", BOM + out.getvalue())
        self.good("import", "--db", "b.db", "saved.csv")
        for code in ("036000000000001", "036000000000002", "036000000000003"):
            self.assertIn(code, self.good("export", "--db", "b.db"))
        disagree = dict(rows[0], eid="036000000000009")
        out = io.StringIO(newline="")
        w = csv.DictWriter(out, rows[0].keys())
        w.writeheader()
        w.writerow(disagree)
        self.write("saved.csv", BOM + out.getvalue())
        self.assertIn("is another code", self.bad("import", "--db", "b.db", "saved.csv"))

    def test_a_quote_is_only_taken_off_our_own_export(self):
        self.good("init")
        self.write("r.csv", BOM + "animal,visual\nA1,'-5\n")
        self.good("import", "r.csv")
        self.assertIn("'-5", self.good("export"))
        self.write("r.csv", "animal,visual,eid_text\nA2,'-6,999-000000000006\n")
        self.good("import", "r.csv")
        self.assertIn(",'-6,", self.good("export"))
        self.write("r.csv", BOM + "animal,visual,eid_text\nA3,'-7,999-000000000007\n")
        self.good("import", "r.csv")
        self.assertIn(",-7,", self.good("export"))


if __name__ == "__main__":
    tap.main()
