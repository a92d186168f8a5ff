"""lugmark rehearse: faults planted in a pretended walk are found again, and no others."""
import json
import os

import tap
from yard import DaemonTest, code

HEAD = "animal,species,mob,status,status_date,form,place,official,eid,visual,applied,removed,why\n"


def row(key, mob, eid, visual, status="on-farm,", more=",,"):
    return f"{key},goat,{mob},{status},flag tag,left ear,yes,{eid},{visual},{more}\n"


REGISTER = (HEAD + "".join(row(f"A{n}", "does", code(n), f"{n:04d}") for n in range(1, 10))
            + row("A7", "does", code(77), "", more="2024-03-01,2025-03-01,lost")
            + row("P1", "plain", code(61), "") + row("P2", "plain", "", "0062")
            + row("B1", "bucks", code(31), "0031")
            + row("S1", "does", code(41), "0041", status="sold,2026-05-11")
            + row("N1", "does", "", "0051")       # no code: it is called
            + row("N2", "does", "", ""))          # nothing to know it by
CONFIG = "[lane 1]\nrearm_s = 1\n[lane 2]\nrearm_s = 1\n"
FAULTS = ("absent=1,dead-code=1,stranger=1,again=1,other-mob=1,gone=1,misread=1,crossed=1,old=1,"
          "two-lanes=1,test-code=1")


class Rehearse(DaemonTest):
    def ports(self, names, start=True):
        """A yard whose readers' ports are made by nobody yet."""
        y = self.yard(REGISTER, start=False, readers=())
        with open(y.config, "a", encoding="utf-8") as out:
            for i, name in enumerate(names):
                out.write(f"[reader {name}]\nlane = {i + 1}\nport = {y.dir}/{name}\n")
            out.write(CONFIG)
        return y.start() if start else y

    def rehearse(self, y, *args):
        """Run with the port front. The done process."""
        return y.lugmark("rehearse", "--socket", y.socket, "--port", os.path.join(y.dir, "front"),
                         *args, good=False)

    def test_everything_planted_is_found(self):
        y = self.ports(["front", "side"])
        truth = os.path.join(y.dir, "truth.json")
        done = self.rehearse(y, "--port2", os.path.join(y.dir, "side"), "--mob", "does",
                             "--gap-ms", "250", "--rearm-ms", "1000", "--seed", "7", "--truth",
                             truth, "--faults", FAULTS)
        self.assertEqual(done.returncode, 0, done.stdout + done.stderr)
        self.assertNotIn("NOT", done.stdout)
        with open(truth, encoding="utf-8") as file:
            told = json.load(file)
        self.assertEqual((told["schema"], told["seed"]), ("lugmark.truth/1", 7))
        planted = sorted(f["fault"] for f in told["faults"])
        for fault in (f.split("=")[0] for f in FAULTS.split(",")):
            short = f'"{fault}" found no animal' in done.stderr
            self.assertEqual(fault in planted, not short, fault)
        self.assertGreaterEqual(len(set(planted)), 9, (planted, done.stderr))
        self.assertIn(f"{len(planted)} of {len(planted)} planted faults found, 0 findings that "
                      "nobody planted\n", done.stdout)
        self.assertEqual(y.rows("SELECT count(*) FROM session WHERE closed_ms IS NOT NULL"),
                         [(1,)])
        for name in ("front", "side"):
            self.assertFalse(os.path.lexists(os.path.join(y.dir, name)), name)

    def test_what_the_daemon_missed_is_said(self):
        """The lane is armed again later than the rehearsal believes: who comes twice is not told."""
        y = self.ports(["front"])
        done = self.rehearse(y, "--gap-ms", "60", "--rearm-ms", "0", "--mob", "bucks", "--faults",
                             "again=1,absent=0")
        self.assertEqual(done.returncode, 1, done.stdout + done.stderr)
        self.assertIn("  NOT FOUND    same-animal-again        B1\n", done.stdout)
        self.assertIn("0 of 1 planted faults found, 0 findings that nobody planted\n", done.stdout)

    def test_a_fault_that_cannot_be_is_said_and_the_animal_walks(self):
        y = self.ports(["front"])
        faults = ("dead-code", "two-lanes", "old")
        done = self.rehearse(y, "--gap-ms", "250", "--mob", "plain", "--faults",
                             ",".join(f"{fault}=1" for fault in faults))
        self.assertEqual(done.returncode, 0, (done.stdout, done.stderr))
        for fault in faults:
            self.assertIn(f'1 of the faults "{fault}" found no animal', done.stderr)
        self.assertIn("0 of 0 planted faults found, 0 findings", done.stdout)

    def test_wrong_usage(self):
        y = self.ports(["front"], start=False)
        for args, part in ((("--faults", "absent"), '"absent" is no fault=number'),
                           (("--faults", "wings=1"), '"wings" is no fault=number'),
                           (("--faults", "absent=-1"), "no fault=number"),
                           (("--faults", "absent=1x"), "no fault=number"),
                           (("--faults", "absent=100001"), "no fault=number"),
                           (("--gap-ms", "19"), "gap-ms"), (("--seed", "x"), "seed"),
                           (("--rearm-ms", "-1"), "rearm-ms")):
            done = self.rehearse(y, *args)
            self.assertEqual(done.returncode, 2, (args, done.stdout, done.stderr))
            self.assertIn(part, done.stderr)
        done = y.lugmark("rehearse", "--socket", y.socket, good=False)
        self.assertEqual(done.returncode, 2)
        self.assertIn("--port LINK is needed", done.stderr)

    def test_what_is_in_the_way(self):
        y = self.ports(["front"], start=False)
        there = os.path.join(y.dir, "there")
        with open(there, "w", encoding="utf-8") as out:
            out.write("kept")
        done = y.lugmark("rehearse", "--socket", y.socket, "--port", there, good=False)
        self.assertNotEqual(done.returncode, 0)
        self.assertIn("is there and is no link", done.stderr)
        done = y.lugmark("rehearse", "--socket", y.socket, "--port",
                         os.path.join(y.dir, "none", "front"), good=False)
        self.assertIn("cannot make the link", done.stderr)
        os.symlink(there, os.path.join(y.dir, "a-link"))
        for path in (os.path.join(y.dir, "a-link"), y.dir, "/dev/null"):
            done = self.rehearse(y, "--truth", path)
            self.assertEqual(done.returncode, 4, done.stderr)
            self.assertIn(f"cannot write {path}", done.stderr)
        with open(there, encoding="utf-8") as kept:
            self.assertEqual(kept.read(), "kept")
        os.unlink(y.db)
        self.assertEqual(self.rehearse(y).returncode, 4)


if __name__ == "__main__":
    tap.main()
