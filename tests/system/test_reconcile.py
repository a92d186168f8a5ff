"""reconcile: the whole job from files, each kind of finding, and what is refused."""
import json
import random
import subprocess

import cli
import tap

KINDS = ["missing", "unmatched", "duplicate", "unexpected", "conflict", "unread", "retired",
         "doubtful"]

HEADER = "animal,species,sex,mob,status,form,eid,visual,removed\n"
REGISTER = HEADER + (
    "A1,goat,doe,does,on-farm,flag tag,999000000000001,0001,\n"
    "A2,goat,doe,does,on-farm,flag tag,999000000000002,0002,\n"
    "A3,goat,doe,does,on-farm,flag tag,999000000000003,0003,\n"
    "A4,goat,buck,bucks,on-farm,flag tag,999000000000004,0004,\n"
    "A5,goat,doe,does,sold,flag tag,999000000000005,0005,\n"
    "A2,,,,,bolus,999000000000102,,2026-01-01\n")


def code(n):
    return f"999{n:012d}"


def walk(*numbers, gap=60):
    """Readings with times, one animal every `gap` seconds."""
    rows = [f"2026-11-02T{8 + i * gap // 3600:02d}:{i * gap // 60 % 60:02d}:{i * gap % 60:02d}Z,1,"
            f"{code(n)}\n" for i, n in enumerate(numbers)]
    return "time,lane,eid\n" + "".join(rows)


class Base(cli.CliTest):
    def setUp(self):
        super().setUp()
        self.write("r.csv", REGISTER)

    def found(self, readings=None, *more, exit_code=1, register="r.csv", sightings=None):
        args = ["reconcile", "--register", register]
        if readings is not None:
            args += ["--readings", self.write("readings", readings)]
        if sightings is not None:
            args += ["--sightings", self.write("sightings", sightings)]
        return self.json(*args, *more, exit_code=exit_code)

    def reasons(self, got):
        return sorted((f["reason"], f["animal"]) for f in got["findings"])


class Kinds(Base):
    def test_contract_of_the_json(self):
        got = self.found(walk(1, 2, 99), "--heads", "3", "--mob", "does")
        self.assertEqual(got["schema"], "lugmark.findings/1")
        for key in ("expected", "present", "readings", "passes", "heads"):
            self.assertIs(type(got[key]), int, key)
        self.assertIs(type(got["session"]), dict)
        self.assertEqual(got["session"]["kind"], "walk")
        self.assertEqual(got["session"]["mob"], "does")
        self.assertEqual(list(got["counts"]), KINDS)
        self.assertEqual(set(got["bounds"]), {"absent_min", "absent_max"})
        self.assertIs(type(got["explanations"]), list)
        for f in got["findings"]:
            self.assertIn(f["kind"], KINDS)
            self.assertIn(f["attention"], ("go", "look", "hold"))
            self.assertIs(type(f["eid"]), list)
            self.assertIs(type(f["visual"]), list)
            for text in f["eid"] + f["visual"]:
                self.assertIs(type(text), str)
            self.assertLessEqual({"kind", "reason", "attention", "animal", "eid", "visual", "t"},
                                 set(f))
        missing = got["findings"][0]
        self.assertEqual((missing["kind"], missing["reason"], missing["attention"],
                          missing["animal"], missing["eid"], missing["visual"], missing["t"]),
                         ("missing", "not-seen", "look", "A3", [code(3)], ["0003"], None))
        for kind in KINDS:
            self.assertEqual(got["counts"][kind],
                             sum(f["kind"] == kind for f in got["findings"]), kind)

    def test_nothing_flagged(self):
        got = self.found(walk(1, 2, 3), "--mob", "does", exit_code=0)
        self.assertEqual((got["expected"], got["present"], got["readings"], got["passes"],
                          got["heads"], got["findings"]), (3, 3, 3, 3, None, []))
        self.assertEqual(got["bounds"], {"absent_min": 0, "absent_max": 0})

    def test_missing(self):
        got = self.found(walk(1), "--mob", "does")
        self.assertEqual(self.reasons(got), [("not-seen", "A2"), ("not-seen", "A3")])

    def test_unmatched_and_test_code(self):
        got = self.found(walk(1, 2, 3, 77), "--mob", "does")
        self.assertIn(("not-in-register", None), self.reasons(got))
        self.assertEqual(got["counts"]["unmatched"], 1)
        self.assertEqual([f["eid"] for f in got["findings"] if f["kind"] == "unmatched"],
                         [[code(77)]])
        self.assertIn(("test-code", None), self.reasons(got))

    def test_duplicate(self):
        got = self.found(walk(1, 2, 3, 1), "--mob", "does")
        self.assertEqual(self.reasons(got), [("same-animal-again", "A1")])
        self.assertEqual(got["passes"], 4)
        self.assertEqual(got["present"], 3)

    def test_repeats_within_the_rearm_time_are_one_pass(self):
        self.found(walk(1, 1, 2, 2, 3, gap=20), "--mob", "does", exit_code=0)
        got = self.found(walk(1, 2, 1, 3, gap=20), "--mob", "does", "--rearm", "12.5")
        self.assertEqual(self.reasons(got), [("same-animal-again", "A1")])
        self.found(walk(1, 2, 1, 3, gap=20), "--mob", "does", "--rearm", "60", exit_code=0)
        # without times: the same code is the same pass until another one comes
        self.found(f"{code(1)}\n{code(1)}\n{code(2)}\n{code(3)}\n", "--mob", "does", exit_code=0)
        self.found(f"{code(1)}\n{code(2)}\n{code(1)}\n{code(3)}\n", "--mob", "does")

    def test_unexpected(self):
        got = self.found(walk(1, 2, 3, 4, 5), "--mob", "does")
        self.assertEqual(self.reasons(got), [("other-mob", "A4"), ("sold", "A5")])
        self.assertEqual({f["attention"] for f in got["findings"]}, {"hold"})
        self.assertEqual(got["present"], 3)

    def test_conflict_of_number_and_code(self):
        got = self.found(walk(1, 2, 3), "--mob", "does",
                         sightings=f"visual,with\n0003,{code(1)}\n")
        self.assertIn(("number-differs", "A1"), self.reasons(got))
        self.assertEqual(got["counts"]["conflict"], 1)
        self.found(walk(1, 2, 3), "--mob", "does", sightings=f"visual,with\n0001,{code(1)}\n",
                   exit_code=0)

    def test_unread(self):
        got = self.found(walk(1, 2), "--mob", "does", sightings="visual\n0003\n")
        self.assertEqual(self.reasons(got), [("no-reading", "A3")])
        self.assertEqual(got["present"], 3)

    def test_retired(self):
        got = self.found(walk(1, 102, 3), "--mob", "does")
        self.assertEqual(self.reasons(got), [("removed-device", "A2")])

    def test_doubtful(self):
        telegram = "002FB1EA2E12B77880406D7E08040201"  # one bit of its CRC is wrong
        odd = ["rubbish", "999999999999999", telegram, "123000000000001", "0000F9C000000007"]
        got = self.found("\n".join([code(1), code(2), code(3)] + odd) + "\n", "--mob", "does")
        self.assertEqual({f["reason"] for f in got["findings"] if f["kind"] == "doubtful"},
                         {"damaged-text", "out-of-range", "bad-check", "unknown-country",
                          "not-animal", "test-code"})

    def test_two_animals_on_one_code(self):
        self.write("r.csv", REGISTER + f"B1,goat,doe,does,on-farm,flag tag,{code(1)},0101,\n")
        got = self.found(walk(1, 2, 3), "--mob", "does")
        self.assertIn("two-animals-one-code", {f["reason"] for f in got["findings"]})
        self.assertEqual(got["expected"], 4)

    def test_two_animals_on_one_number(self):
        self.write("r.csv", REGISTER + f"B1,goat,doe,does,on-farm,flag tag,{code(9)},0001,\n")
        got = self.found(walk(1, 2, 3, 9), "--mob", "does", sightings="visual\n0001\n")
        self.assertIn("two-animals-one-number", {f["reason"] for f in got["findings"]})

    def test_sale_holds_whatever_is_flagged(self):
        got = self.found(walk(1, 3, 1), "--mob", "does", "--kind", "sale")
        self.assertEqual({f["attention"] for f in got["findings"]}, {"hold"})
        self.assertEqual(got["session"]["kind"], "sale")

    def test_bounds(self):
        for heads, least in ((0, 2), (1, 2), (2, 1), (3, 0), (9, 0)):
            got = self.found(walk(1), "--mob", "does", "--heads", str(heads))
            self.assertEqual(got["bounds"], {"absent_min": least, "absent_max": 2}, heads)
            self.assertEqual(got["heads"], heads)
        # everybody is there, but fewer heads were counted: that alone is flagged
        got = self.found(walk(1, 2, 3), "--mob", "does", "--heads", "2")
        self.assertEqual(got["findings"], [])
        self.found(walk(1, 2, 3), "--mob", "does", "--heads", "3", exit_code=0)

    def test_text_for_people(self):
        self.write("c", walk(1, 99))
        out = self.good("reconcile", "-r", "r.csv", "-c", "c", "-m", "does", "-n", "2", exit_code=1)
        for part in ("A2", "0002", code(99), "nobody we know", "between 1 and 2"):
            self.assertIn(part, out)


class Files(Base):
    def test_no_readings_at_all(self):
        got = self.found(None, "--mob", "does")
        self.assertEqual(got["counts"]["missing"], 3)
        got = self.found("", "--mob", "does")
        self.assertEqual((got["counts"]["missing"], got["readings"]), (3, 0))

    def test_empty_register(self):
        self.write("r.csv", HEADER)
        got = self.found(walk(1))
        self.assertEqual((got["expected"], got["counts"]["unmatched"]), (0, 1))
        self.found("", exit_code=0)

    def test_standard_input_once(self):
        self.write("c", walk(1, 2, 3))
        args = ["reconcile", "--mob", "does"]
        self.good(*args, "--register", "-", "--readings", "c", stdin=REGISTER)
        self.good(*args, "--register", "r.csv", "--readings", "-", stdin=walk(1, 2, 3))
        self.good(*args, "--register", "r.csv", "--readings", "c", "--sightings", "-",
                  stdin="visual\n0001\n")
        self.assertIn("only once", self.bad(*args, "--register", "-", "--readings", "-",
                                            stdin=REGISTER, exit_code=2))

    def test_bom_crlf_semicolons_tabs_and_any_order(self):
        plain = self.found(walk(1, 2, 99), "--mob", "does")
        rows = [line.split(",") for line in walk(1, 2, 99).splitlines()]
        for mark, end, sep, order in (("\ufeff", "\r\n", ",", (2, 0, 1)), ("", "\n", ";", (0, 1, 2)),
                                      ("\ufeff", "\r\n", "\t", (1, 2, 0))):
            text = mark + end.join(sep.join(row[i] for i in order) for row in rows) + end
            self.assertEqual(self.found(text.upper(), "--mob", "does"), plain)
        self.write("r.csv", ("\ufeff" + REGISTER).replace("\n", "\r\n"))
        self.assertEqual(self.found(walk(1, 2, 99), "--mob", "does"), plain)

    def test_every_form_of_a_code(self):
        hexed = format(1 << 63 | 999 << 38 | 3, "016X")
        got = self.found(f"# stick\n999 000000000001\r\n\n999-000000000002\n{hexed}", "--mob", "does",
                         exit_code=0)
        self.assertEqual(got["present"], 3)

    def test_out_of_order_times_are_taken_as_they_come(self):
        text = ("time,eid\n2026-11-02T09:00:00Z," + code(3) + "\n2026-11-02T08:00:00Z," + code(1)
                + "\n2026-11-02T08:30:00Z," + code(2) + "\n")
        self.assertEqual(self.found(text, "--mob", "does", exit_code=0)["passes"], 3)

    def test_sightings_are_merged_by_time(self):
        # called before its reading by a clock that is a little off: it still goes with that pass
        early = f"time,visual,with\n2026-11-02T07:59:58Z,0002,{code(2)}\n"
        self.found(walk(1, 2, 3), "--mob", "does", sightings=early, exit_code=0)
        # without times the readings come first, whatever the order of the files
        self.found(f"{code(1)}\n{code(2)}\n{code(3)}\n", "--mob", "does",
                   sightings=f"visual,with\n0002,{code(2)}\n", exit_code=0)
        # whoever is read at the same moment came before what was called
        tie = f"time,visual,with\n2026-11-02T08:01:00Z,0001,{code(2)}\n"
        got = self.found(walk(1, 2, 3), "--mob", "does", sightings=tie)
        self.assertEqual([(f["reason"], f["animal"], f["t"]) for f in got["findings"]],
                         [("number-differs", "A2", "2026-11-02T08:01:00.000Z")])

    def test_lot(self):
        self.write("lot.txt", f"A1\n0002\n# comment\n{code(4)}\n")
        got = self.found(walk(1, 2, 3, 4), "--lot", "lot.txt")
        self.assertEqual(self.reasons(got), [("other-lot", "A3")])
        self.assertEqual(got["session"]["lot"], "lot")
        self.assertEqual(got["expected"], 3)
        self.write("lot.csv", f"pen;visual;eid\n1;0001;\n2;;{code(3)}\n")
        self.found(walk(1, 3), "--lot", "lot.csv", exit_code=0)
        self.write("bad.txt", "A1\nnobody\n\n0099\n")
        said = self.bad("reconcile", "-r", "r.csv", "--lot", "bad.txt").splitlines()
        self.assertTrue(said[0].startswith("bad.txt:2: "), said)
        self.assertTrue(said[1].startswith("bad.txt:4: "), said)
        self.write("r2.csv", REGISTER + f"B1,goat,doe,does,on-farm,flag tag,{code(9)},0001,\n")
        self.write("lot.txt", "0001\n")
        self.assertIn("lot.txt:1: ", self.bad("reconcile", "-r", "r2.csv", "--lot", "lot.txt"))

    def test_events(self):
        lines = [{"t": "2026-11-02T08:00:00Z", "open": {"kind": "count", "id": "7", "mob": "does"}},
                 {"t": "2026-11-02T08:00:01.250Z", "lane": "1", "reading": code(1)},
                 {"t": "2026-11-02T08:01:01Z", "lane": "1", "reading": code(2)},
                 {"t": "2026-11-02T08:01:02Z", "sighting": "0002", "with": code(2)},
                 {"t": "2026-11-02T08:02:00Z", "heads": 3, "unknown": [1]},
                 {"t": "2026-11-02T08:03:00Z", "close": True}]
        text = "\n".join(json.dumps(x) for x in lines) + "\n"
        self.write("e", text)
        got = self.json("reconcile", "-r", "r.csv", "-e", "e", exit_code=1)
        self.assertEqual(self.reasons(got), [("not-seen", "A3")])
        self.assertEqual((got["session"]["kind"], got["session"]["id"], got["session"]["mob"],
                          got["heads"]), ("count", "7", "does", 3))
        self.assertEqual(got["bounds"], {"absent_min": 0, "absent_max": 1})
        self.bad("reconcile", "-r", "r.csv", "-e", "e", "--mob", "does", exit_code=2)
        # a head count given here counts, though the events close the session themselves
        self.assertEqual(self.json("reconcile", "-r", "r.csv", "-e", "e", "--heads", "2",
                                   exit_code=1)["heads"], 2)
        # without an open and a close they are supplied
        self.write("e", "\n".join(json.dumps(x) for x in lines[1:5]))
        got = self.json("reconcile", "-r", "r.csv", "-e", "e", "-m", "does", exit_code=1)
        self.assertEqual(self.reasons(got), [("not-seen", "A3")])

    def test_bad_events(self):
        good = json.dumps({"reading": code(1)})
        self.write("e", f'{good}\nnot json\n{{"undo":true}}\n{good}\n{{"close":true}}\n{good}\n')
        said = self.bad("reconcile", "-r", "r.csv", "-e", "e").splitlines()
        self.assertTrue(said[0].startswith("e:2"), said)
        self.assertTrue(said[1].startswith("e:3"), said)
        self.assertTrue(said[2].startswith("e:6"), said)
        self.assertIn("after the close", said[2])

    def test_bad_readings_and_sightings_are_all_named(self):
        self.write("c", f"time,lane,eid\nsoon,1,{code(1)}\n2026-11-02T08:00:00Z,1\n"
                        "2026-11-02T08:00:00Z,1,\n")
        self.write("s", "visual,with\n,\n0001,xyz\n ,999000000000001\n")
        said = self.bad("reconcile", "-r", "r.csv", "-c", "c", "-s", "s").splitlines()
        for part in ("c:2:1: ", "c:3: ", "c:4:3: ", "s:3:2: ", "s:4:1: "):
            self.assertTrue(any(line.startswith(part) for line in said), (part, said))
        self.assertEqual(len(said), 5)

    def test_csv_without_its_first_line(self):
        rows = walk(1, 2).split("\n", 1)[1]
        self.write("c", rows)  # time, lane, code in this order can be nothing else
        said = self.good("reconcile", "-r", "r.csv", "-c", "c", exit_code=1)
        self.assertIn("animals identified          2", said)
        self.write("c", "".join(f"x,{row}\n" for row in rows.split()))
        said = self.bad("reconcile", "-r", "r.csv", "-c", "c")
        self.assertTrue(said.startswith("c:1: "), said)
        self.assertIn("time,lane,eid", said)

    def test_bad_register(self):
        self.write("bad.csv", f"animal,eid,born\nA1,{code(1)},2026-02-30\nA2,9.99E+14,\n")
        said = self.bad("reconcile", "-r", "bad.csv", "-c", "r.csv").splitlines()
        self.assertTrue(said[0].startswith("bad.csv:2:3"), said)
        self.assertTrue(said[1].startswith("bad.csv:3:2"), said)
        self.bad("reconcile", "-r", "none.csv")
        self.bad("reconcile", "-r", "r.csv", "-c", "none.csv")
        self.bad("reconcile", "-r", "r.csv", "-c", ".", exit_code=4)
        self.write("utf16.csv", walk(1).encode("utf-16"))
        self.assertIn("UTF-16", self.bad("reconcile", "-r", "r.csv", "-c", "utf16.csv"))

    def test_wrong_usage(self):
        for args in (["-m", "x", "-l", "y"], ["--kind", "stroll"], ["--heads", "-1"],
                     ["--heads", "x"], ["--rearm", "soon"], ["--rearm", "-1"]):
            self.bad("reconcile", "-r", "r.csv", *args, exit_code=2)
        self.bad("reconcile", exit_code=2)

    def test_a_mob_that_nobody_is_in_is_refused(self):
        self.assertIn("deos", self.bad("reconcile", "-r", "r.csv", "-m", "deos", exit_code=2))

    def test_rubbish_never_crashes(self):
        chance = random.Random(7)
        pool = [b"999000000000001", b",", b";", b"\t", b"\n", b"\r\n", b'"', b"time", b"eid", b"lane",
                b"visual", b"with", b"2026-11-02T08:00:00Z", b"\xff", b"\0", b"#", b"{", b"A1"]
        for _ in range(150):
            self.write("c", b"".join(chance.choices(pool, k=chance.randrange(60))))
            self.write("s", b"".join(chance.choices(pool, k=chance.randrange(60))))
            self.write("l", b"".join(chance.choices(pool, k=chance.randrange(20))))
            args = chance.choice([["-c", "c"], ["-s", "s"], ["-c", "c", "-s", "s"], ["-e", "c"],
                                  ["-l", "l"]])
            done = self.run_("reconcile", "-r", "r.csv", *args, "--json")
            self.assertIn(done.returncode, (0, 1, 3), done.stderr)
            if done.returncode == 3:
                self.assertEqual(done.stdout, "")
                self.assertTrue(done.stderr)
            else:
                json.loads(done.stdout)

    def test_the_same_files_give_the_same_bytes(self):
        self.write("c", walk(3, 1, 99, 4))
        args = ["reconcile", "-r", "r.csv", "-c", "c", "--json"]
        self.assertEqual(self.good(*args, exit_code=1), self.good(*args, exit_code=1))
        done = subprocess.run(f"cat c | '{cli.LUGMARK}' reconcile -r r.csv -c - --json", shell=True,
                              cwd=self.dir, env=self.env, stdout=subprocess.PIPE, check=False)
        self.assertEqual(done.stdout.decode(), self.good(*args, exit_code=1))


if __name__ == "__main__":
    tap.main()
