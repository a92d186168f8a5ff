"""The command line: the register's commands, decode, and how wrong use is answered."""
import json
import os
import subprocess
import time

import cli
import tap

REGISTER = (
    "animal,species,breed,sex,born,dam,sire,mob,status,form,place,colour,official,eid,visual,"
    "applied,removed\n"
    'A1,goat,"boer, red",doe,2024-03-28,A9,,does,on-farm,flag tag,left ear,yellow,yes,'
    "999000000000001,0001,2024-04-01,\n"
    "A1,,,,,,,,,bolus,rumen,,no,999000000000101,,2024-05-01,2025-05-01\n"
    "A2,sheep,,wether,2024,,,wethers,sold,loop tag,right ear,grün,yes,999000000000002,0002,,\n"
    "A3,goat,,buck,2024-03,,,bucks,dead,tattoo,right ear,,yes,,XK 17,,\n")


class Register(cli.CliTest):
    def filled(self):
        self.good("init", "--holding", "Example holding")
        self.write("r.csv", REGISTER)
        return self.good("import", "r.csv")

    def test_init_says_the_next_step_and_never_overwrites(self):
        out = self.good("init")
        self.assertIn(self.env["LUGMARK_DB"], out)
        self.assertIn("lugmark import", out)
        before = self.path("register.db")
        with open(before, "rb") as f:
            was = f.read()
        self.assertIn("there is a register already", self.bad("init"))
        with open(before, "rb") as f:
            self.assertEqual(f.read(), was)
        self.write("other", "no register")
        self.bad("init", "--db", "other", exit_code=4)
        self.assertEqual(self.text("other"), "no register")

    def test_without_a_register_the_way_to_one_is_said(self):
        for args in (["find", "x"], ["export"], ["verify"], ["show", "x"], ["findings"],
                     ["edit", "x", "--mob", "y"], ["add", "--visual", "1"]):
            self.assertIn("lugmark init", self.bad(*args, exit_code=4))

    def test_path_of_the_register(self):
        env = {"LUGMARK_DB": "", "XDG_DATA_HOME": ""}
        self.good("init", env=env)
        self.assertTrue(os.path.exists(self.path(".local/share/lugmark/register.db")))
        env["XDG_DATA_HOME"] = self.path("data")
        self.good("init", env=env)
        self.assertTrue(os.path.exists(self.path("data/lugmark/register.db")))
        env["LUGMARK_DB"] = self.path("env.db")
        self.good("init", env=env)
        self.assertTrue(os.path.exists(self.path("env.db")))
        self.good("init", "--db", "opt.db", env=env)
        self.good("--db", "opt.db", "verify", env=env)
        self.good("--db=opt.db", "verify", env=env)
        self.assertTrue(os.path.exists(self.path("opt.db")))

    def test_import_and_export_lose_nothing(self):
        self.assertEqual(self.filled(), "3 animals, 4 devices\n")
        first = self.good("export")
        self.good("init", "--db", "b.db")
        self.write("first.csv", first)
        self.good("import", "--db", "b.db", "first.csv")
        self.assertEqual(self.good("export", "--db", "b.db"), first)
        for part in ("boer, red", "grün", "XK 17", "999000000000101", "2025-05-01", "2024-03"):
            self.assertIn(part, first)
        # once more into the same register: it says so already
        self.assertEqual(self.good("import", "first.csv"), "3 animals, 4 devices\n")
        self.assertEqual(self.good("export"), first)
        self.good("init", "--db", "c.db")
        self.good("import", "--db", "c.db", "-", stdin=first)
        self.assertEqual(self.good("export", "--db", "c.db"), first)

    def test_export_never_overwrites_by_surprise(self):
        self.filled()
        self.good("export", "-o", "out.csv")
        first = self.text("out.csv")
        self.write("out.csv", "mine")
        self.assertIn("--overwrite", self.bad("export", "-o", "out.csv"))
        self.assertEqual(self.text("out.csv"), "mine")
        self.good("export", "-o", "out.csv", "--overwrite")
        self.assertEqual(self.text("out.csv"), first)
        self.assertEqual([n for n in os.listdir(self.dir) if n.startswith("out.csv")], ["out.csv"])

    def test_a_full_disk_is_said(self):
        self.filled()
        with open("/dev/full", "wb") as full:
            done = subprocess.run([cli.LUGMARK, "export"], cwd=self.dir, env=self.env, stdout=full,
                                  stderr=subprocess.PIPE, check=False)
        self.assertEqual(done.returncode, 4)
        self.assertIn(b"could not be written", done.stderr)

    def test_bad_rows_are_all_named_and_nothing_is_taken(self):
        self.filled()
        before = self.good("export")
        self.write("bad.csv", "animal,eid,born,mob\n"
                              "B1,999000000000011,2026-02-30,x\n"
                              "B2,9.99E+14,,x\n"
                              "B3,999000000000012,,x\n"
                              "B4,999000000000013\n")
        said = self.bad("import", "bad.csv").splitlines()
        self.assertTrue(said[0].startswith("bad.csv:2:3: "), said)
        self.assertIn("2026-02-30", said[0])
        self.assertTrue(said[1].startswith("bad.csv:3:2: "), said)
        self.assertTrue(said[2].startswith("bad.csv:5"), said)
        self.assertTrue(all("; to mend: " in line for line in said[:2]), said)
        self.assertEqual(said[-1], "lugmark: nothing was imported from bad.csv")
        self.assertEqual(self.good("export"), before)

    def test_a_code_that_is_worn_already_is_refused(self):
        self.filled()
        before = self.good("export")
        self.write("dup.csv", "animal,eid\nB0,999000000000010\nB1,999000000000001\n"
                              "B2,999000000000002\n")
        said = self.bad("import", "dup.csv").splitlines()
        self.assertTrue(said[0].startswith("dup.csv:3"), said)
        self.assertIn("B1", said[0])
        self.assertIn("A1", said[0])
        self.assertTrue(any("B2" in s and "A2" in s for s in said), said)
        self.assertEqual(self.good("export"), before)

    def test_dry_run_checks_all_and_changes_nothing(self):
        self.good("init")
        self.write("r.csv", REGISTER)
        empty = self.good("export")
        self.assertIn("3 animals, 4 devices", self.good("import", "--dry-run", "r.csv"))
        self.assertEqual(self.good("export"), empty)
        self.assertEqual(self.json("import", "-n", "r.csv"),
                         {"animals": 3, "devices": 4, "dry_run": True})
        self.write("dup.csv", "animal,eid\nB1,999000000000010\nB2,999000000000010\n")
        self.bad("import", "-n", "dup.csv")
        self.bad("import", "no-such-file.csv")

    def test_a_bar_on_a_terminal_when_it_takes_long(self):
        self.good("init")
        rows = "".join(f"X{n},999{n:012d}\n" for n in range(1, 12001))
        master, slave = os.openpty()
        p = subprocess.Popen([cli.LUGMARK, "import", "-n", "-"], cwd=self.dir, env=self.env,
                             stdin=subprocess.PIPE, stdout=subprocess.DEVNULL, stderr=slave)
        p.stdin.write(b"animal,eid\n")
        for at in range(0, len(rows), 20000):
            p.stdin.write(rows[at:at + 20000].encode())
            p.stdin.flush()
            time.sleep(0.12)
        p.stdin.close()
        self.assertEqual(p.wait(60), 0)
        os.close(slave)
        shown = b""
        try:
            while got := os.read(master, 65536):
                shown += got
        except OSError:
            pass
        os.close(master)
        self.assertRegex(shown, rb"reading|putting")
        self.assertTrue(shown.endswith(b"\r\x1b[K"), shown[-80:])
        # and never where nobody looks
        self.assertEqual(self.run_("import", "-n", "-", stdin="animal,eid\n" + rows).stderr, "")

    def test_find_and_show(self):
        self.filled()
        self.assertIn("A1 ", self.good("find", "0001"))
        self.assertEqual(len(self.good("find", "000").splitlines()), 2)
        done = self.run_("find", "000", "--limit", "1")
        self.assertEqual(len(done.stdout.splitlines()), 1)
        self.assertIn("more than 1", done.stderr)
        self.assertEqual(json.loads(self.good("find", "bucks", "--json"))["animal"], "A3")
        self.bad("find", "nobody", exit_code=1)
        self.bad("find", "", exit_code=2)
        for word in ("A1", "0001", "999000000000001", "999-000000000001", "999000000000101"):
            out = self.good("show", word)
            self.assertTrue(out.startswith("A1\n"), out)
        self.assertIn("boer, red", out)
        self.assertIn("removed 2025-05-01", out)
        self.assertIn("castrated", self.good("show", "A2"))
        self.assertEqual(self.json("show", "XK17")["animal"], "A3")
        self.assertIn("no animal is called or wears nobody", self.bad("show", "nobody"))

    def test_show_of_a_number_that_two_wear_names_both(self):
        self.filled()
        self.good("add", "--animal", "B1", "--visual", "0001")
        said = self.bad("show", "0001")
        self.assertIn("A1", said)
        self.assertIn("B1", said)

    def test_add(self):
        self.good("init")
        self.good("add", "--animal", "A1", "--species", "goat", "--sex", "doe", "--born", "2026-03",
                  "--mob", "does", "--eid", "999 000000000001", "--visual", "0001", "--form",
                  "flag tag", "--place", "left ear", "--colour", "yellow", "--applied",
                  "2026-03-28", "--dam", "A0", "--breed", "boer")
        got = self.json("show", "A1")
        self.assertEqual(got["sex"], "female")
        self.assertEqual(got["born"], "2026-03")
        self.assertEqual(got["devices"][0]["eid"][-15:], "999000000000001")
        self.assertEqual(self.json("add", "--visual", "7")["animal"], "7")
        self.assertEqual(self.json("add", "--eid", "999000000000009")["animal"], "999000000000009")
        self.assertIn("A1", self.bad("add", "--animal", "A1", "--visual", "9"))
        said = self.bad("add", "--animal", "C1", "--eid", "999000000000001")
        self.assertIn("A1", said)
        self.assertIn("C1", said)
        self.bad("add", "--mob", "does", exit_code=2)
        self.bad("add", "--animal", "X", "--colour", "red", exit_code=2)
        for option, value in (("eid", "9.99E+14"), ("born", "2026-13"), ("sex", "maybe"),
                              ("form", "string"), ("status", "away"), ("mob", "x" * 64),
                              ("official", "perhaps"), ("uid", "xyz")):
            self.assertIn("--" + option,
                          self.bad("add", "--animal", "X", "--visual", "5", "--" + option, value))
        self.assertEqual(len(self.good("export").splitlines()), 4)

    def test_edit(self):
        self.filled()
        self.good("edit", "0001", "--mob", "bucks", "--status", "sold", "--status-date",
                  "2026-11-02", "--why", "autumn sale")
        got = self.json("show", "A1")
        self.assertEqual((got["mob"], got["status"], got["status_date"]),
                         ("bucks", "sold", "2026-11-02"))
        self.assertEqual(len(got["devices"]), 2)
        self.assertIn("nothing changed", self.good("edit", "A1", "--mob", "bucks"))
        self.good("edit", "A1", "--mob", "", "--status", "on-farm")
        got = self.json("show", "A1")
        self.assertNotIn("mob", got)
        self.assertNotIn("status_date", got)
        self.good("edit", "A1", "--status", "dead")
        self.assertRegex(self.json("show", "A1")["status_date"], r"^\d{4}-\d\d-\d\d$")
        self.bad("edit", "A1", exit_code=2)
        self.bad("edit", "nobody", "--mob", "x")
        self.bad("edit", "A1", "--born", "soon")
        self.assertEqual(self.json("show", "A1")["born"], "2024-03-28")

    def test_backup_and_verify(self):
        self.filled()
        self.good("backup", "copy.db")
        self.assertEqual(self.good("export", "--db", "copy.db"), self.good("export"))
        self.bad("backup", "copy.db")
        self.assertIn("3 animals", self.good("verify"))
        self.assertTrue(self.json("verify")["good"])
        size = os.path.getsize(self.path("copy.db"))
        with open(self.path("copy.db"), "r+b") as out:
            out.seek(size // 2)
            out.write(b"\xa5" * 4096)
        done = self.run_("verify", "--db", "copy.db")
        self.assertEqual(done.returncode, 4, done.stdout)
        self.assertTrue(done.stderr)
        self.assertNotIn("sound:", done.stdout)


class Decode(cli.CliTest):
    def test_forms_and_fields(self):
        got = self.json("decode", "002FB1EA2E12B77880406D7F08040201", exit_code=1)
        self.assertEqual(got, {
            "text": "002FB1EA2E12B77880406D7F08040201", "ok": True, "form": got["form"],
            "eid": "123112233445566", "country": 123, "country_class": "unassigned",
            "country_name": got["country_name"], "alpha2": None, "national": "112233445566",
            "animal": True, "retag": 0, "user": 0, "reserved": 0, "visual_start": 0, "rudi": False,
            "data_block": False, "bits": "80001EDA21A278BE", "coding": "FDX-B", "crc": "0FD6",
            "trailer": "000000", "rotation": 0, "flags": ["unknown-country"]})
        got = self.json("decode", "826 123456789012")
        self.assertEqual((got["alpha2"], got["country_class"], got["flags"]), ("GB", "country", []))
        for unknown in ("animal", "retag", "user", "reserved", "visual_start", "rudi",
                        "data_block", "bits"):
            self.assertIsNone(got[unknown])
        self.assertNotIn("crc", got)
        same = {self.json("decode", form)["eid"] for form in
                ("826123456789012", "826-123456789012", "826.123456789012", "826_123456789012",
                 "GB 123456789012", "gb123456789012", "8000CE9CBE991A14", "0x8000CE9CBE991A14")}
        self.assertEqual(same, {"826123456789012"})

    def test_turned_telegram(self):
        bits = format(0x002FB1EA2E12B77880406D7F08040201, "0128b")
        got = self.json("decode", bits[40:] + bits[:40], exit_code=1)
        self.assertEqual(got["eid"], "123112233445566")
        self.assertIn(got["rotation"], (40, 88))

    def test_block_of_one_and_lines_of_many(self):
        out = self.good("decode", "8000CE9CBE991A14")
        for part in ("826", "GB", "123456789012", "retagging", "user information", "reserved",
                     "visual start", "RUDI", "data block", "used on an animal"):
            self.assertIn(part, out)
        out = self.good("decode", "826123456789012", "0000F9C000003039", "zz", exit_code=3)
        lines = out.splitlines()
        self.assertEqual(len(lines), 3)
        self.assertIn("not-animal", lines[1])
        self.assertIn("test-code", lines[1])
        self.assertTrue(lines[2].startswith("zz  BAD "), lines)

    def test_exit_status_is_the_worst(self):
        fine, test, unknown = "826123456789012", "999000000000001", "123000000000001"
        invalid = format(1 << 63 | 1001 << 38 | 7, "016X")
        self.good("decode", fine)
        self.good("decode", "982000000000001")  # a maker's number
        for odd in (test, unknown, invalid, "000000000000001"):
            self.good("decode", odd, exit_code=1)
        self.good("decode", fine, test, exit_code=1)
        self.good("decode", test, fine, exit_code=1)
        self.good("decode", "zz", fine, exit_code=3)
        for bad in ("zz", "826274877906944", "9.99E+14", "36123456789012",
                    "002FB1EA2E12B77880406D7E08040201", "826000000000000x", "\x1b[31m", " "):
            self.bad("decode", bad)
        self.bad("decode", exit_code=2)
        self.bad("decode", "-", "-", exit_code=2)

    def test_standard_input(self):
        data = "# comment\n826123456789012\r\n\n826 123456789012\n"
        self.assertEqual(len(self.good("decode", "-", stdin=data).splitlines()), 2)
        out = self.good("decode", "-", "--json", stdin="826123456789012\n\x1b]0;x\nzz", exit_code=3)
        got = [json.loads(line) for line in out.splitlines()]
        self.assertEqual([g["ok"] for g in got], [True, False, False])
        self.assertNotIn("\x1b", out)

    def test_a_code_without_its_quotes_is_hinted_at(self):
        done = self.run_("decode", "826", "123456789012")
        self.assertEqual(done.returncode, 3)
        self.assertIn("put it in quotes", done.stderr)

    def test_a_closed_pipe_ends_it_quietly(self):
        done = subprocess.run(
            ["sh", "-c", f"seq 1 100000 | '{cli.LUGMARK}' decode - | head -n 1"],
            stdout=subprocess.PIPE, stderr=subprocess.PIPE, check=False, env=self.env)
        self.assertEqual(done.stderr, b"")
        self.assertTrue(done.stdout.startswith(b"1  BAD"))


class Usage(cli.CliTest):
    def commands(self):
        out = self.good("--help")
        return [line.split()[0] for line in out.splitlines()
                if line.startswith("  ") and not line.startswith("   ")
                and not line.startswith(("  lugmark", "  -"))]

    def test_help_of_every_command(self):
        names = self.commands()
        for must in ("init", "import", "export", "find", "show", "add", "edit", "open", "saw", "head",
                     "undo", "close", "watch", "findings", "decode", "reconcile", "readers",
                     "backup", "verify"):
            self.assertIn(must, names)
        for name in names:
            out = self.good(name, "--help")
            self.assertIn(f"usage: lugmark {name}", out)
            self.assertIn("example:\n  lugmark ", out)
            self.assertIn("--json", out)
            self.assertEqual(self.good(name, "-h"), out)
            self.assertEqual(self.good("help", name), out)

    def test_version(self):
        self.assertRegex(self.good("--version"), r"^lugmark \d+\.\d+\.\d+\n$")

    def test_wrong_words(self):
        self.assertIn("lugmark find", self.bad("fnid", exit_code=2))
        self.assertIn("lugmark --help", self.bad("zzzzzzz", exit_code=2))
        self.assertIn("--limit", self.bad("find", "--limt", "3", "x", exit_code=2))
        self.bad("find", exit_code=2)
        self.bad("find", "a", "b", exit_code=2)
        self.bad(exit_code=2)
        self.bad("export", "--format", "xml", exit_code=2)
        self.bad("export", "--session", "0", exit_code=2)
        self.bad("findings", "x", exit_code=2)
        self.bad("open", "stroll", exit_code=2)
        self.bad("open", "walk", "--mob", "a", "--lot", "b", exit_code=2)
        self.bad("head", "many", exit_code=2)
        self.bad("head", "1e3", exit_code=2)
        self.bad("saw", "", exit_code=2)

    def test_without_a_daemon_it_is_said_how_to_start_one(self):
        for args in (["open", "walk"], ["saw", "1"], ["head", "3"], ["undo"], ["close"], ["status"],
                     ["readers"], ["watch"], ["watch", "--json"]):
            said = self.bad(*args, exit_code=4)
            self.assertEqual(said, f"lugmark: no daemon is running at {self.path('none.sock')}; "
                                   "to mend: start lugmarkd\n")


if __name__ == "__main__":
    tap.main()
