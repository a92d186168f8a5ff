"""Explanations: small planted cases of every kind through reconcile; accept, undo and reject through
the register."""
import json
import os
import subprocess
import time

import tap
from cli import BUILD, CliTest


def code(n):
    return f"999{n:012d}"


class Planted(CliTest):
    """A flock of forty: A1 wears code 1000001 and number 0201, and so on along one strip."""

    N = 40

    def setUp(self):
        super().setUp()
        self.flock = {f"A{i}": [code(1000000 + i), f"{200 + i:04d}"] for i in range(1, self.N + 1)}
        self.reads = {key: pair[0] for key, pair in self.flock.items()}
        self.calls = []
        self.more = []
        self.dams = {}

    def files(self, stock=None, heads=None):
        rows = [f"{k},{self.dams.get(k, '')},{c},{v}\n" for k, (c, v) in self.flock.items()]
        self.write("r.csv", "animal,dam,eid,visual\n" + "".join(rows))
        self.write("c.csv", "eid\n" + "".join(f"{c}\n" for c in [*self.reads.values(), *self.more]))
        self.write("s.csv", "visual,with\n" + "".join(f"{v},{w}\n" for v, w in self.calls))
        args = ["reconcile", "--register", "r.csv", "--readings", "c.csv", "--explain"]
        if self.calls:
            args += ["--sightings", "s.csv"]
        if heads is not None:
            args += ["--heads", str(heads)]
        if stock:
            self.write("k.csv", "strip,position,eid,visual\n" + "".join(
                f"{s},{p},{c},{v}\n" for s, p, c, v in stock))
            args += ["--stock", "k.csv"]
        return args

    def told(self, exit_code=1, **more):
        found = self.json(*self.files(**more), exit_code=exit_code)
        for i, e in enumerate(found["explanations"], 1):
            self.assertEqual(e["id"], f"X{i}")
            self.assertTrue(0 <= e["probability"] <= 1, e)
            self.assertTrue(e["because"], e)
        p = [e["probability"] for e in found["explanations"]]
        self.assertEqual(p, sorted(p, reverse=True))
        return found["explanations"]

    def first(self, kind, animals, least=0.9, told=None, **more):
        """The likeliest explanation is of this kind, about these animals, and that sure."""
        told = self.told(**more) if told is None else told
        e = told[0]
        self.assertEqual((e["kind"], e["animals"]), (kind, animals), told[:3])
        self.assertGreaterEqual(e["probability"], least, e)
        return e

    def test_nothing_flagged_nothing_explained(self):
        self.assertEqual(self.told(exit_code=0), [])

    def test_without_the_option_the_list_stays_empty(self):
        del self.reads["A7"]
        args = [a for a in self.files() if a != "--explain"]
        self.assertEqual(self.json(*args, exit_code=1)["explanations"], [])

    def test_new_device_its_number_called(self):
        self.reads["A7"] = code(1000777)
        self.calls = [("0207", code(1000777))]
        e = self.first("new-device", ["A7"])
        self.assertEqual(e["eid"], [code(1000777)])
        self.assertEqual((e["sighting"], e["as"], e["offset"]), ("0207", None, None))
        self.assertIn("its number 0207 was called for the code", e["because"])
        self.assertEqual(e["fix"], f"lugmark retag A7 --old {code(1000007)} --reason lost "
                                   f"--eid {code(1000777)} --visual 0207")

    def test_new_device_next_of_its_strip(self):
        self.reads["A7"] = code(1000041)
        stock = [("S1", i, code(1000000 + i), f"{200 + i:04d}") for i in range(1, 51)]
        e = self.first("new-device", ["A7"], stock=stock)
        self.assertTrue(any("next unused one of strip S1" in b for b in e["because"]), e)
        self.assertTrue(e["fix"].endswith("--visual 0241"), e["fix"])

    def test_new_device_of_two_missing_is_not_guessed(self):
        self.reads["A7"] = code(1000041)
        del self.reads["A9"]
        stock = [("S1", i, code(1000000 + i), "") for i in range(1, 51)]
        told = [e for e in self.told(stock=stock) if e["kind"] == "new-device"]
        self.assertEqual(sorted(e["animals"][0] for e in told), ["A7", "A9"])
        for e in told:
            self.assertAlmostEqual(e["probability"], 0.5, delta=0.05)

    def test_printed_number_tells_which(self):
        self.reads["A7"] = code(2000001)
        del self.reads["A9"]
        told = self.told(stock=[("R", 1, code(2000001), "0207")])
        e = self.first("new-device", ["A7"], told=told)
        self.assertIn("the supply list prints its number on the device", e["because"])

    def test_start_digit_of_the_code_tells_which(self):
        bits = 1 << 63 | 6 << 50 | 999 << 38 | 5000207
        del self.reads["A7"], self.reads["A9"]
        args = self.files()
        # start digit 6 of the twelve 000005000207 gives 5000207: give A7 that number
        self.flock["A7"][1] = "5000207"
        self.files()
        with open(self.path("c.csv"), "a") as out:
            out.write(f"{bits:016X}\n")
        told = self.json(*args, exit_code=1)["explanations"]
        e = [e for e in told if e["kind"] == "new-device"][0]
        self.assertEqual(e["animals"], ["A7"])
        self.assertTrue(any("where its printed number starts" in b for b in e["because"]), e)

    def test_dam_beside_her_kid(self):
        self.dams = {f"A{i + 1}": f"A{i}" for i in range(1, self.N, 2)}
        order = list(self.reads)
        self.reads["A8"] = code(1000777)  # walks behind her dam A7, as all kids do
        self.assertEqual(list(self.reads), order)
        del self.reads["A20"]
        e = [e for e in self.told() if e["kind"] == "new-device"][0]
        self.assertEqual(e["animals"], ["A8"])
        self.assertIn("its dam or kid walked beside the code", e["because"])

    def test_misread_for_a_code(self):
        self.calls = [("0201", code(1000007))]  # 0207 is A7's; 1 for 7
        e = self.first("misread-number", ["A7"], least=0.8)
        self.assertEqual((e["sighting"], e["as"], e["fix"]), ("0201", "0207", None))

    def test_misread_alone(self):
        del self.reads["A33"], self.reads["A36"]
        self.calls = [("0283", "")]  # nobody's; 8 for 3
        told = self.told(heads=39)
        e = [e for e in told if e["sighting"] == "0283"][0]
        self.assertEqual((e["kind"], e["animals"], e["as"]), ("misread-number", ["A33"], "0233"))

    def test_swapped_both_called(self):
        self.calls = [("0219", code(1000007)), ("0207", code(1000019))]
        told = self.told()
        e = self.first("swapped", ["A7", "A19"], told=told)
        self.assertEqual(e["eid"], [code(1000007), code(1000019)])
        self.assertEqual(sum(x["kind"] == "swapped" for x in told), 1)

    def test_shifted_run_of_which_some_were_called(self):
        run = [f"A{i}" for i in range(11, 23)]
        numbers = [self.flock[k][1] for k in run]
        for i, key in enumerate(run):  # register: one out, the first number went to the end
            self.flock[key][1] = numbers[i - 1]
        self.calls = [(f"{200 + i:04d}", code(1000000 + i)) for i in (3, 9, 12, 15, 19, 27, 30)]
        e = self.first("shifted-run", run)
        self.assertEqual(e["offset"], 1)
        stock = [("S1", i, code(1000000 + i), f"{200 + i:04d}") for i in range(1, 51)]
        e = self.first("shifted-run", run, stock=stock)
        self.assertEqual(e["offset"], 1)

    def test_right_calls_between_make_no_run(self):
        numbers = [self.flock[k][1] for k in ("A11", "A12", "A18", "A19")]
        self.flock["A11"][1], self.flock["A12"][1] = numbers[1], numbers[0]
        self.flock["A18"][1], self.flock["A19"][1] = numbers[3], numbers[2]
        self.calls = [(f"{200 + i:04d}", code(1000000 + i)) for i in (11, 12, 14, 15, 18, 19)]
        told = self.told()
        self.assertEqual([e["kind"] for e in told if e["probability"] > 0.5],
                         ["swapped", "swapped"])

    def test_stranger(self):
        self.more = ["982000000000123"]
        e = self.first("stranger", [])
        self.assertEqual(e["eid"], ["982000000000123"])

    def test_failed_eid(self):
        del self.reads["A7"]
        self.calls = [("0207", "")]
        e = self.first("failed-eid", ["A7"])
        self.assertEqual(e["fix"], f"lugmark retag A7 --old {code(1000007)} --reason unreadable")

    def test_absent_and_the_head_count(self):
        del self.reads["A7"]
        sure = self.first("absent", ["A7"], heads=39)
        self.assertIsNone(sure["fix"])
        told = self.told(heads=40)
        there = [e for e in told if e["kind"] == "failed-eid"][0]
        self.assertGreater(there["probability"], 0.7)

    def test_every_item_is_covered(self):
        self.reads["A1"] = code(1000901)
        self.more = ["982000000000123", code(77)]
        for key in ("A2", "A3", "A4"):
            del self.reads[key]
        self.calls = [("0204", ""), ("0777", ""), ("0231", code(1000037)), ("0299", code(1000038))]
        found = self.json(*self.files(), exit_code=1)
        text = json.dumps(found["explanations"])
        for f in found["findings"]:
            if f["kind"] not in ("missing", "unmatched", "conflict", "unread"):
                continue
            name = f["animal"] or (f["eid"] or [f.get("text")])[0]
            self.assertIn(f'"{name}"', text, f)

    def test_same_input_same_bytes(self):
        self.test_every_item_is_covered()
        args = [*self.files(heads=41), "--json"]
        self.assertEqual(self.good(*args, exit_code=1), self.good(*args, exit_code=1))

    def test_awkward_texts(self):
        del self.reads["A7"], self.reads["A8"]
        long = "9" * 127
        self.flock["A8"][1] = "\u043a\u043e\u0437\u0430 7"
        self.calls = [(long, ""), ("\u043a\u043e\u0437\u0430 1", ""), ("'; rm -rf ~'", "")]
        told = self.told()
        self.assertTrue(any(e["sighting"] == long for e in told))
        self.good(*self.files(), exit_code=1)

    def test_every_number_the_same_nobody_read(self):
        for key in self.flock:
            self.flock[key][1] = "7"
        self.reads = {}
        self.more = [code(3000000 + i) for i in range(30)]
        self.calls = [("1", c) for c in self.more[:15]] + [("7", c) for c in self.more[15:]]
        told = self.told()
        self.assertEqual(len({a for e in told for a in e["animals"]}), self.N)

    def test_stock_without_explain_is_wrong_usage(self):
        args = [a for a in self.files(stock=[("S1", 1, code(5), "5")]) if a != "--explain"]
        self.assertIn("--explain", self.bad(*args, exit_code=2))

    def test_bad_stock_is_refused_with_its_place(self):
        args = self.files(stock=[("S1", 1, code(5), "5"), ("S1", 1, code(6), "6")])
        self.assertIn("k.csv:3", self.bad(*args))

    def test_as_text(self):
        self.reads["A7"] = code(1000777)
        self.calls = [("0207", code(1000777))]
        out = self.good(*self.files(), exit_code=1)
        self.assertIn("What most likely happened", out)
        self.assertRegex(out, r"X1 +>?\d\d %  A7: wears a new device, called 0207")
        self.assertNotIn("100 %", out)
        self.assertIn("to mend: lugmark retag A7", out)

    def test_a_long_run_and_a_name_that_a_shell_would_take_apart(self):
        run = [f"A{i}" for i in range(11, 26)]
        numbers = [self.flock[k][1] for k in run]
        for i, key in enumerate(run):
            self.flock[key][1] = numbers[i - 1]
        self.calls = [(f"{200 + i:04d}", code(1000000 + i)) for i in (3, 12, 14, 17, 20, 23, 30)]
        self.flock["it's 3"] = [code(1000950), "0950"]
        self.more = [code(1000951)]
        self.calls.append(("0950", code(1000951)))
        out = self.good(*self.files(), exit_code=1)
        self.assertRegex(out, r"A11, A12, .*A22 and 3 more: .* by 1\b")
        self.assertIn(r"to mend: lugmark retag 'it'\''s 3' ", out)


class Register(CliTest):
    """The same through the register: a session walked past the daemon."""

    def setUp(self):
        super().setUp()
        self.good("init")
        rows = [f"A{i},{code(1000000 + i)},{200 + i:04d}\n" for i in range(1, 41)]
        self.write("r.csv", "animal,eid,visual\n" + "".join(rows))
        self.good("import", "r.csv")

    def walk(self, reads, calls):
        """A session through the daemon: a program reader gives readings and calls."""
        script = self.path("reader.sh")
        lines = "".join(json.dumps({"lane": "1", "reading": c}) + "\n" if s is None else
                        json.dumps({"lane": "1", "sighting": s, "with": c}) + "\n"
                        for c, s in [(c, None) for c in reads] + [(c, v) for v, c in calls])
        self.write("lines", lines)
        self.write("reader.sh", f"#!/bin/sh\nsleep 1\ncat '{self.path('lines')}'\nsleep 60\n")
        os.chmod(script, 0o700)
        self.write("conf", f"[lane 1]\n[reader front]\nlane = 1\ndriver = program\n"
                           f"command = {script}\n")
        sock = self.path("d.sock")
        daemon = subprocess.Popen([os.path.join(BUILD, "lugmarkd"), "--config", self.path("conf"),
                                   "--socket", sock], env=self.env, stderr=subprocess.DEVNULL)
        try:
            env = {"LUGMARK_SOCKET": sock}
            for _ in range(200):
                if self.run_("status", env=env).returncode <= 1:
                    break
                time.sleep(0.05)
            self.good("open", "walk", env=env)
            for _ in range(200):
                found = json.loads(self.run_("findings", "--json", env=env).stdout)
                if found["readings"] >= len(reads) and len(calls) <= sum(
                        f["kind"] in ("conflict", "unread") for f in found["findings"]):
                    break
                time.sleep(0.05)
            self.run_("close", env=env)
        finally:
            daemon.terminate()
            daemon.wait()

    def codes(self, key):
        return [(d["eid"], d.get("visual"), bool(d.get("removed") or d.get("gone")))
                for d in self.json("show", key)["devices"]]

    def worn(self, key):
        return [c[0] for c in self.codes(key) if not c[2]]

    def told(self, exit_code=1):
        return self.json("explain", exit_code=exit_code)

    def by_kind(self, kind):
        return [e for e in self.told() if e["kind"] == kind]

    def test_no_session_yet(self):
        self.assertIn("no session", self.bad("explain"))

    def test_accept_reject_and_what_stays(self):
        reads = [code(1000000 + i) for i in range(1, 41) if i not in (7, 8)]
        reads.append(code(1000777))
        self.walk(reads, [("0207", code(1000777)), ("0219", code(1000012)),
                          ("0212", code(1000019))])
        e = self.by_kind("new-device")[0]
        self.assertEqual(e["animals"], ["A7"])
        swap = self.by_kind("swapped")[0]
        gone = self.by_kind("absent")[0]
        self.assertIn("changes nothing", self.bad("explain", "--accept", gone["id"]))
        self.assertIn("A7", self.good("explain", "--accept", e["id"]))
        self.assertEqual(self.worn("A7"), [code(1000777)])
        self.assertIn((code(1000007), "0207", True), self.codes("A7"))
        self.assertEqual(self.by_kind("new-device"), [])
        self.assertIn("settled", self.bad("explain", "--accept", e["id"]))
        self.good("explain", "--accept", swap["id"])
        self.assertEqual((self.worn("A12"), self.worn("A19")), ([code(1000019)], [code(1000012)]))
        self.assertIn((code(1000019), "0212", False), self.codes("A12"))
        self.assertEqual(self.by_kind("swapped"), [])
        self.good("explain", "--reject", gone["id"])
        self.assertNotIn(gone["id"], [x["id"] for x in self.told()])
        self.good("verify")

    def test_accept_all_and_undo(self):
        reads = [code(1000000 + i) for i in range(1, 41) if i not in (7, 9)]
        reads += [code(1000777), code(1000779)]
        self.walk(reads, [("0207", code(1000777)), ("0209", code(1000779))])
        self.assertIn("--above", self.bad("explain", "--above", "0.9", exit_code=2))
        self.bad("explain", "--accept-all", "--above", "7", exit_code=2)
        before = self.good("export")
        self.good("explain", "--accept-all", "--above", "0.95")
        self.assertEqual((self.worn("A7"), self.worn("A9")), ([code(1000777)], [code(1000779)]))
        self.assertEqual([e for e in self.told(exit_code=0)], [])
        self.good("undo", "--register")  # one command, one change
        self.assertEqual(self.good("export"), before)
        self.assertEqual(len(self.by_kind("new-device")), 2)

    def test_a_run_is_accepted_and_undone_in_one_step(self):
        self.good("edit", "A30", "--mob", "does")  # a change before, which must stay
        register = self.good("export")
        rows = {k: f"{200 + n:04d}" for k, n in zip(
            (f"A{i}" for i in range(11, 19)), (*range(12, 19), 11))}
        # called for the codes of A11 to A18 are the numbers of the next
        calls = [(rows[f"A{i}"], code(1000000 + i)) for i in range(11, 18)]
        calls += [(f"{200 + i:04d}", code(1000000 + i)) for i in (10, 19, 25)]  # these fit
        self.walk([code(1000000 + i) for i in range(1, 41)], calls)
        run = self.by_kind("shifted-run")[0]
        self.assertEqual(run["animals"], [f"A{i}" for i in range(11, 19)])
        self.good("explain", "--accept", run["id"])
        self.assertNotEqual(self.good("export"), register)
        self.assertEqual(self.worn("A12"), [code(1000011)])
        self.assertIn("8 animals", self.good("undo", "--register", "--dry-run"))
        self.good("undo", "--register")
        self.assertEqual(self.good("export"), register)
        self.assertEqual(self.by_kind("shifted-run")[0]["animals"], run["animals"])
        self.good("verify")

    def test_earlier_sessions_and_who_walked_beside_whom(self):
        whole = [code(1000000 + i) for i in range(1, 41)]
        self.walk([c for c in whole if c != code(1000033)], [("0233", "")])
        first = self.told()
        self.assertFalse(any("earlier session" in b for e in first for b in e["because"]), first)
        self.assertIn("no earlier session was used", self.good("explain", exit_code=1))
        again = [code(1000777) if c == code(1000007) else c for c in whole]
        again.remove(code(1000020))
        self.walk(again, [])
        told = self.told()
        new = [e for e in told if e["kind"] == "new-device"]
        self.assertEqual(new[0]["animals"], ["A7"])
        self.assertIn("one that walked beside it in the session before walked beside the code",
                      new[0]["because"])
        gone = [e for e in told if e["animals"] == ["A20"] and e["kind"] == "failed-eid"][0]
        self.assertTrue(any(b.startswith("in 1 earlier session") for b in gone["because"]), gone)
        text = self.good("explain", exit_code=1)
        self.assertIn("Rates rest on this session and 1 earlier one:", text)
        # accepting one moves no other: the list is of the session as it was
        self.good("explain", "--accept", new[0]["id"])
        left = [e for e in self.told() if e["id"] != new[0]["id"]]
        self.assertEqual(left, [e for e in told if e["id"] != new[0]["id"]
                                and e["id"] in [x["id"] for x in left]])
        self.assertEqual(self.json("explain", "1", exit_code=1), first)

    def test_rejected_stays_rejected(self):
        reads = [code(1000000 + i) for i in range(1, 41) if i != 7] + [code(1000777)]
        self.walk(reads, [("0207", code(1000777))])
        e = self.by_kind("new-device")[0]
        self.good("explain", "--reject", e["id"])
        self.walk(reads, [("0207", code(1000777))])  # the next session makes it again
        self.assertEqual(self.told(exit_code=0), [])

    def test_nothing_to_explain_and_nothing_sure(self):
        reads = [code(1000000 + i) for i in range(1, 41)]
        self.walk(reads, [])
        self.assertEqual(self.good("explain"), "Nothing to explain.\n")
        self.walk(reads[1:], [])
        self.assertIn("no explanation is that sure", self.good("explain", "--accept-all"))
        e = self.by_kind("absent")[0]
        said = self.json("explain", "--reject", e["id"])
        self.assertEqual((said["explanation"], said["settled"], said["animals"]),
                         (e["id"], "rejected", ["A1"]))
        self.assertIn("is settled", self.bad("explain", "--reject", e["id"]))

    def test_wrong_usage(self):
        self.walk([code(1000000 + i) for i in range(1, 40)], [])
        self.bad("explain", "--accept", "Y1", exit_code=2)
        self.bad("explain", "--accept", "X99")
        self.bad("explain", "--accept", "X1", "--reject", "X1", exit_code=2)
        self.bad("explain", "nine", exit_code=2)
        self.bad("explain", "99")


if __name__ == "__main__":
    tap.main()
