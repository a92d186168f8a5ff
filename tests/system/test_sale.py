"""sale-check: a lot by the rules of a pack, alone and joined with what came at the race."""
import csv
import io
import json
import os
import shutil
import time

import cli
import tap
from yard import DaemonTest, until

PACKS = os.path.join(os.path.dirname(os.path.abspath(__file__)), "../../src/cli/packs")
os.environ["LUGMARK_PACKS"] = PACKS

HEADER = ("animal,species,sex,mob,status,born,dam,form,place,colour,official,eid,visual,applied,"
          "removed\n")
REGISTER = HEADER + (
    "A1,goat,doe,does,on-farm,2023-03-01,D1,flag tag,left ear,yellow,yes,840000000000001,"
    "OHEX0000 0001,2023-04-01,\n"
    "A2,goat,doe,does,on-farm,2026-03-01,,flag tag,left ear,yellow,no,,0002,2026-04-01,\n"
    "A3,goat,doe,does,on-farm,2020,,flag tag,left ear,yellow,yes,,OHEX0000,2020-04-01,\n"
    "A4,goat,wether,does,sold,2025-11-01,,flag tag,left ear,yellow,yes,840000000000004,,2025-12,\n"
    "A5,goat,doe,does,on-farm,2023,,flag tag,left ear,yellow,yes,,TXEX0001 0007,2023,\n"
    "A6,goat,doe,does,on-farm,2023,,flag tag,left ear,yellow,yes,,TXEX0001 0007,2023,\n"
    "D1,goat,doe,does,on-farm,2018,,flag tag,left ear,yellow,yes,840000000000009,,2018,\n")
US = ["--pack", "us", "--date", "2026-11-02", "--purpose", "breeding", "--destination", "in-state"]


def results(got, animal):
    for a in got["animals"]:
        if a["animal"] == animal:
            return {r["rule"]: (r["outcome"], r["attention"]) for r in a["results"]}
    raise AssertionError(f"{animal} is not in the answer")


def attention(got):
    return {a["animal"]: a["attention"] for a in got["animals"]}


class Base(cli.CliTest):
    def setUp(self):
        super().setUp()
        self.env["LUGMARK_PACKS"] = PACKS
        self.good("init")
        self.good("import", self.write("r.csv", REGISTER))

    def check(self, lot, *more, exit_code=1, pack=None):
        self.write("lot.txt", lot)
        return self.json("sale-check", "lot.txt", *(US if pack is None else pack), *more,
                         exit_code=exit_code)


class Lot(Base):
    def test_shape_and_one_animal_without_a_problem(self):
        got = self.check("A1\n", "--own", "OHEX0000", "--type", "OHEX0000 *=US-FLOCK-AN",
                         exit_code=0)
        self.assertEqual(got["schema"], "lugmark.sale/1")
        self.assertEqual([p["id"] for p in got["packs"]], ["none", "us"])
        self.assertEqual((got["date"], got["purpose"], got["destination"], got["session"]),
                         ("2026-11-02", "breeding", "in-state", None))
        self.assertEqual(got["counts"], {"hold": 0, "look": 0, "go": 1})
        self.assertEqual(got["say"], "no problem found")
        self.assertEqual(got["decides"], "your animal-health authority decides")
        self.assertEqual(got["todo"], [])
        one = got["animals"][0]
        self.assertEqual((one["number"], one["code"], one["sex"], one["age"]),
                         ("OHEX0000 0001", "840000000000001", "female", "18 months or more"))
        self.assertEqual(one["results"], [])
        self.assertGreater(one["passed"], 5)
        text = self.good("sale-check", "lot.txt", *US, "--own", "OHEX0000", "--type",
                         "OHEX0000 *=US-FLOCK-AN")
        for part in ("no problem found", "pack us, as of 2024-11-05",
                     "your animal-health authority decides"):
            self.assertIn(part, text)

    def test_what_is_held_and_looked_at(self):
        got = self.check("A1\nA2\nA3\nA4\n")
        self.assertEqual(attention(got), {"A1": "look", "A2": "hold", "A3": "look", "A4": "hold"})
        self.assertEqual(results(got, "A2")["US-01"], ("fail", "hold"))
        self.assertEqual(results(got, "A4")["GEN-01"], ("fail", "hold"))
        self.assertEqual(results(got, "A4")["US-03"], ("note", "go"))
        self.assertEqual(results(got, "A3")["US-16"], ("unknown", "look"))
        text = self.good("sale-check", "lot.txt", *US, exit_code=1)
        self.assertIn("OHEX0000 is ambiguous: this could be US-FLOCK", text)
        self.assertIn("store the tag type", text)
        self.assertIn("Before loading:", text)
        self.assertIn("[ ] hold: put an official tag on, or record the one it wears (US-01): A2",
                      text)
        self.assertIn("2 to hold, 2 to look at, 0 without a problem found.", text)

    def test_tasks_are_grouped_and_holds_come_first(self):
        got = self.check("A2\nA4\nA5\nA6\n")
        first = [t["attention"] for t in got["todo"]]
        self.assertEqual(first, sorted(first, key=["hold", "look"].index))
        shared = [t for t in got["todo"] if "GEN-02" in t["rules"]]
        self.assertEqual((len(shared), shared[0]["animals"], shared[0]["rules"]),
                         (1, ["A5", "A6"], "GEN-02, US-07"))

    def test_two_animals_with_one_number(self):
        got = self.check("A5\n")
        self.assertEqual(results(got, "A5")["GEN-02"], ("fail", "hold"))
        self.good("edit", "A6", "--status", "dead")
        self.assertNotIn("GEN-02", results(self.check("A5\n"), "A5"))

    def test_a_number_that_was_taken_off_is_not_shared(self):
        self.good("import", self.write("more.csv", HEADER + (
            "B1,goat,doe,does,on-farm,2023,,flag tag,left ear,yellow,yes,,IDEX1 0001,2023,2025\n"
            "B2,goat,doe,does,on-farm,2023,,flag tag,left ear,yellow,yes,,IDEX1 0001,2025,\n"
            "B3,goat,doe,does,on-farm,2023,,flag tag,left ear,yellow,no,,IDEX1 0001,2025,\n")))
        self.assertNotIn("GEN-02", results(self.check("B2\n"), "B2"))

    def test_a_bought_animal_was_born_elsewhere(self):
        kind = ["--own", "OHEX0000", "--type", "OHEX*=US-FLOCK-AN"]
        self.good("buy", "--animal", "C1", "--species", "goat", "--sex", "doe", "--born", "2023", "--dam", "D1",
                  "--visual", "OHEX0000 0055", "--official", "yes")
        self.assertEqual(results(self.check("C1\n", *kind), "C1")["US-06"], ("fail", "hold"))

    def test_unverified_rules_only_ask(self):
        self.good("import", self.write("eu.csv", HEADER + (
            "E1,sheep,ewe,x,on-farm,2024,,flag tag,left ear,,yes,,IE000000000001,2024,\n")))
        got = self.check("E1\n", pack=["--pack", "eu", "--date", "2026-11-02"])
        self.assertEqual(results(got, "E1")["EU-03"], ("fail", "look"))
        self.assertEqual(attention(got), {"E1": "look"})
        err = self.bad("sale-check", "lot.txt", "--pack", "eu", "--rule", "EU-03=hold", exit_code=2)
        self.assertIn("not verified", err)

    def test_own_weights(self):
        got = self.check("A2\n", "--rule", "US-01=off,GEN-07=note,US-16=off", exit_code=0)
        self.assertNotIn("US-01", results(got, "A2"))
        self.assertEqual(results(got, "A2")["GEN-07"], ("fail", "go"))
        self.assertTrue(got["animals"][0]["results"][0]["by_setting"])
        text = self.good("sale-check", "lot.txt", *US, "--rule", "US-01=look,GEN-07=off",
                         exit_code=1)
        self.assertIn("By your setting: rule US-01 is look", text)
        self.assertIn("LOOK A2", text)

    def test_papers_and_circumstances(self):
        far = [*US[:6], "--destination", "interstate"]
        of_lot = lambda got: {r["rule"]: r["outcome"] for r in got["of_lot"]}
        got = self.check("A1\n", pack=far)
        self.assertEqual(of_lot(got)["US-11"], "unknown")
        got = self.check("A1\n", "--lack", "veterinary-certificate", pack=far)
        self.assertEqual(of_lot(got)["US-11"], "fail")
        got = self.check("A1\n", "--have", "veterinary-certificate", pack=far)
        self.assertNotIn("US-11", of_lot(got))
        got = self.check("A2\n", "--case", "group-number")
        self.assertNotIn("US-01", results(got, "A2"))
        self.assertEqual(of_lot(got)["US-04"], "unknown")

    def test_kept_settings(self):
        keep = ["--own", "OHEX0000", "--type", "OHEX0000 *=US-FLOCK-AN", "--rule", "US-12=off"]
        self.check("A1\n", *keep, "--keep", exit_code=0)
        got = self.json("sale-check", "lot.txt", *US[2:])
        self.assertEqual(got["packs"][-1]["id"], "us")
        self.assertEqual(got["of_lot"], [])
        got = self.json("sale-check", "lot.txt", *US[2:], "--own", "", exit_code=1)
        self.assertEqual(results(got, "A1")["US-06"], ("unknown", "look"))
        # what was kept for one pack is no mistake with another
        self.json("sale-check", "lot.txt", "--pack", "none")

    def test_without_a_pack_only_the_register_is_checked(self):
        self.write("lot.txt", "A1\n")
        done = self.run_("sale-check", "lot.txt")
        self.assertEqual(done.returncode, 0, done.stderr)
        self.assertIn("no rule pack is named", done.stderr)

    def test_an_animal_named_twice_counts_once(self):
        self.write("lot.txt", "A1\n0002\nA1\n")
        done = self.run_("sale-check", "lot.txt", "--pack", "none", "--json")
        self.assertEqual(json.loads(done.stdout)["counts"], {"hold": 0, "look": 1, "go": 1})
        self.assertIn("A1 is in the lot more than once", done.stderr)

    def test_born_here_follows_from_the_dam(self):
        kind = ["--own", "OHEX0000", "--type", "TXEX*=US-FLOCK-AN,OHEX*=US-FLOCK-AN"]
        self.assertNotIn("US-06", results(self.check("A1\n", *kind, exit_code=0), "A1"))
        self.assertEqual(results(self.check("A5\n", *kind), "A5")["US-06"], ("unknown", "look"))
        got = self.check("A5\n", *kind, "--born", "here")
        self.assertEqual(results(got, "A5")["US-06"], ("fail", "hold"))
        got = self.check("A1\n", *kind, "--born", "elsewhere")
        self.assertEqual(results(got, "A1")["US-06"], ("fail", "hold"))

    def test_list_without_a_race(self):
        self.write("lot.txt", "A3\nA1\n")
        rows = list(csv.reader(io.StringIO(
            self.good("sale-check", "lot.txt", *US, "--list", "csv", exit_code=1))))
        self.assertEqual(rows[0], ["animal", "number", "code", "species", "sex", "age", "time",
                                   "check"])
        self.assertEqual(rows[1], ["A3", "OHEX0000", "", "goat", "female", "18 months or more", "",
                                   "look"])
        self.assertEqual([r[0] for r in rows[1:]], ["A3", "A1"])

    def test_list_holds_no_formula(self):
        self.good("add", "--visual", "=1+1", "--species", "goat", "--sex", "doe")
        self.write("lot.txt", "=1+1\n")
        text = self.run_("sale-check", "lot.txt", "--pack", "none", "--list", "csv").stdout
        self.assertIn("\"'=1+1\"", text)


class Packs(Base):
    def test_listing(self):
        got = self.json("sale-check", "--packs")
        mine = [p["id"] for p in got["packs"] if "src/cli/packs" in p["file"]]
        for one in ("us", "eu", "england", "ireland", "australia", "canada", "none"):
            self.assertIn(one, mine)
        self.assertIn("as of 2024-11-05", self.good("sale-check", "--packs"))

    def test_explain_rule(self):
        text = self.good("sale-check", "--explain-rule", "US-09")
        for part in ("Asks for:  look", "not verified", "As of:     2024-08-19", "Law changes",
                     "animal-health authority decides"):
            self.assertIn(part, text)
        got = self.json("sale-check", "--explain-rule", "gb-04", "--pack", "england")
        self.assertEqual((got["rule"], got["evidence"], got["asks_for"]), ("GB-04", "V", "hold"))
        self.assertTrue(got["citation"])
        self.assertIn("US-99", self.bad("sale-check", "--explain-rule", "US-99"))

    def own_pack(self, **more):
        pack = {"schema": "lugmark.rules/1", "id": "mine", "name": "Mine", "jurisdiction": "Nowhere",
                "as_of": "2026-01-01", "authority": "nobody",
                "rules": [{"id": "MINE-1", "requirement": {"kind": "official-device"},
                           "severity": "E", "evidence": "V", "citation": "c", "as_of": "2026",
                           "text": "t"}]}
        return json.dumps(dict(pack, **more), indent=1)

    def test_a_pack_of_ones_own(self):
        self.write("lot.txt", "A2\n")
        self.write("mine.json", self.own_pack())
        got = self.json("sale-check", "lot.txt", "--pack", "./mine.json", exit_code=1)
        self.assertEqual(results(got, "A2")["MINE-1"], ("fail", "hold"))
        os.makedirs(self.path("config/lugmark/packs"))
        self.write("config/lugmark/packs/mine.json", self.own_pack())
        got = self.json("sale-check", "lot.txt", "--pack", "mine", exit_code=1,
                        env={"XDG_CONFIG_HOME": self.path("config")})
        self.assertEqual(results(got, "A2")["MINE-1"], ("fail", "hold"))

    def test_a_broken_pack_is_refused_by_line(self):
        self.write("lot.txt", "A2\n")
        good = self.own_pack()
        self.write("mine.json", good.replace('"severity": "E"', '"severity": "X"'))
        line = good[:good.index('"severity"')].count("\n") + 1
        err = self.bad("sale-check", "lot.txt", "--pack", "mine.json")
        self.assertIn(f"mine.json:{line}:", err)
        self.assertIn("severity is E, W or I", err)
        shutil.copytree(PACKS, self.path("packs"))
        self.write("packs/mine.json", "{\n\n")
        err = self.run_("sale-check", "--packs", env={"LUGMARK_PACKS": self.path("packs")}).stderr
        self.assertIn("mine.json:3:", err)
        # the pack of that name in the first folder is taken, or refused; never another one
        self.assertIn("mine.json", self.bad("sale-check", "lot.txt", "--pack", "mine",
                                            env={"LUGMARK_PACKS": self.path("packs")}))
        self.write("packs/mine.json", self.own_pack(id="other"))
        self.assertIn("calls itself other", self.bad("sale-check", "lot.txt", "--pack", "mine",
                                                     env={"LUGMARK_PACKS": self.path("packs")}))

    def test_what_is_refused(self):
        self.write("lot.txt", "A1\n")
        for args, code, part in (
                ([], 2, "say which animals"),
                (["lot.txt", "--pack", "atlantis"], 3, "no rule pack called atlantis"),
                (["lot.txt", "--pack", "../us"], 3, "../us"),
                (["lot.txt", "--pack", "u s"], 2, "id of a pack"),
                (["lot.txt", "--pack", "us", "--purpose", "fun"], 2, "breeding"),
                (["lot.txt", "--pack", "us", "--destination", "moon"], 2, "in-state, interstate"),
                (["lot.txt", "--pack", "us", "--date", "2026-11"], 2, "a day"),
                (["lot.txt", "--pack", "us", "--case", "odd"], 2, "no case \"odd\""),
                (["lot.txt", "--pack", "us", "--have", "odd"], 2, "no paper \"odd\""),
                (["lot.txt", "--pack", "us", "--type", "X"], 2, "NUMBER=FORMAT"),
                (["lot.txt", "--pack", "us", "--type", "X=Y"], 2, "no number format \"Y\""),
                (["lot.txt", "--pack", "us", "--rule", "US-01=never"], 2, "off, note"),
                (["lot.txt", "--pack", "us", "--rule", "XX-01=off"], 2, "XX-01"),
                (["lot.txt", "--pack", "us", "--list", "pdf"], 2, "csv or text"),
                (["lot.txt", "--pack", "us", "--session", "99"], 3, "no session 99"),
                (["lot.txt", "--pack", "us", "--session", "x"], 2, "session"),
                (["no.txt", "--pack", "us"], 3, "no.txt")):
            self.assertIn(part, self.bad("sale-check", *args, exit_code=code), args)
        self.write("lot.txt", "A1\nZ9\n")
        self.assertIn("lot.txt:2", self.bad("sale-check", "lot.txt", "--pack", "us"))
        self.bad("sale-check", "lot.txt", "--db", "none.db", exit_code=4)


class Race(DaemonTest):
    def sale(self, y, *args, exit_code=1):
        done = y.lugmark("sale-check", *args, "--json", good=False)
        self.assertEqual(done.returncode, exit_code, done.stdout + done.stderr)
        return json.loads(done.stdout)

    def read(self, y, c, *codes):
        """Read one code after the other, too far apart to be one animal with two devices."""
        for one in codes:
            time.sleep(0.4)
            y.ports["front"].read(one)
            until(lambda: c.event("verdict").get("eid") == one)

    def test_a_sale_session_joined(self):
        rows = "".join(f"A{n},goat,doe,does,on-farm,2023-03-0{n},,flag tag,left ear,yellow,yes,"
                       f"84000000000000{n},840 00000000000{n},2023-04,\n" for n in range(1, 6))
        y = self.yard(HEADER + rows)
        lot = os.path.join(y.dir, "spring.txt")
        with open(lot, "w", encoding="utf-8") as out:
            out.write("A1\nA2\nA3\nA4\n")
        c = y.client(watch=True)
        y.lugmark("open", "--socket", y.socket, "sale", "--lot", lot)
        self.read(y, c, "840000000000003", "840000000000001", "840000000000077")
        self.assertTrue(c.ask("saw", number="840 000000000002")["ok"])
        got = self.sale(y, "--session", "1", "--pack", "us", "--purpose", "breeding",
                        "--destination", "in-state")
        self.assertEqual(got["session"], {"id": 1, "closed": False, "heads": None})
        self.assertEqual(results(got, "A4")["GEN-05"], ("unknown", "look"))

        self.assertTrue(c.ask("head", n=4)["ok"])
        self.assertTrue(c.ask("close")["ok"])
        got = self.sale(y, "--session", "1", "--pack", "us", "--purpose", "breeding",
                        "--destination", "in-state")
        self.assertEqual(got["session"], {"id": 1, "closed": True, "heads": 4})
        self.assertEqual(got["lot"], "spring")
        self.assertEqual(attention(got), {"A1": "go", "A2": "look", "A3": "go", "A4": "hold"})
        self.assertEqual(results(got, "A4"), {"GEN-05": ("fail", "hold"), "GEN-06": ("fail", "look")})
        self.assertEqual(results(got, "A2"), {"GEN-06": ("fail", "look")})
        places = {a["animal"]: (a["place"], a["seen"], a["read"]) for a in got["animals"]}
        self.assertEqual((places["A3"], places["A1"]), ((1, True, True), (2, True, True)))
        self.assertEqual((places["A2"][1:], places["A4"]), ((True, False), (None, False, False)))
        self.assertIn("not-in-register", [r["rule"] for r in got["of_lot"]])
        self.assertNotIn("GEN-08", [r["rule"] for r in got["of_lot"]])

        listed = y.lugmark("sale-check", "--session", "1", "--pack", "us", "--list", "csv",
                           good=False)
        walked = list(csv.reader(io.StringIO(listed.stdout)))[1:]
        self.assertEqual([r[0] for r in walked], ["A3", "A1", "A2"])
        self.assertTrue(all(r[6].endswith("Z") for r in walked), walked)
        self.assertIn("1 animals of the lot did not come", listed.stderr)
        text = y.lugmark("sale-check", "--session", "1", "--pack", "us", "--list", "text",
                         good=False).stdout
        self.assertIn("your animal-health authority decides", text)

        # The stranger's code turns out to be a new device of A4: it was there, and read.
        more = os.path.join(y.dir, "more.csv")
        with open(more, "w", encoding="utf-8") as out:
            out.write(HEADER + rows.splitlines(True)[3]
                      + "A4,,,,,,,button tag,right ear,,yes,840000000000077,,,\n")
        y.lugmark("import", more)
        got = self.sale(y, "--session", "1", "--pack", "us", "--purpose", "breeding",
                        "--destination", "in-state")
        self.assertEqual(results(got, "A4"), {})
        self.assertNotIn("not-in-register", [r["rule"] for r in got["of_lot"]])

    def test_findings_at_the_race_hold(self):
        rows = "".join(f"A{n},goat,doe,does,on-farm,2023-03-0{n},,flag tag,left ear,yellow,yes,"
                       f"84000000000000{n},000{n},2023-04,\n" for n in range(1, 4))
        y = self.yard(HEADER + rows)
        c = y.client(watch=True)
        self.assertTrue(c.ask("open", kind="sale", mob="does")["ok"])
        self.read(y, c, "840000000000001")
        self.assertTrue(c.ask("saw", number="0003", on_last=True)["ok"])
        self.read(y, c, "840000000000002")
        self.assertTrue(c.ask("saw", number="0003")["ok"])
        self.assertTrue(c.ask("undo")["ok"])
        self.assertTrue(c.ask("head", n=2)["ok"])
        self.assertTrue(c.ask("close")["ok"])
        got = self.sale(y, "--session", "1", "--pack", "none")
        self.assertEqual(results(got, "A1"), {"number-differs": ("fail", "hold")})
        self.assertEqual(attention(got), {"A1": "hold", "A2": "go", "A3": "hold"})
        self.assertEqual(results(got, "A3")["GEN-05"], ("fail", "hold"))  # its call was taken back
        self.assertIn("GEN-08", [r["rule"] for r in got["of_lot"]])       # 2 heads, 3 animals


if __name__ == "__main__":
    tap.main()
