"""Who gets in, what files are for whom, and that what is written in a register runs nowhere."""
import csv
import io
import json
import os
import re
import socket
import stat
import subprocess
import unittest

import cli
import tap
from yard import DAEMON, LUGMARK, DaemonTest, code, until

STRANGER, GROUP = 64123, 64124       # numbers that no machine gives away


def talk(path, requests):
    """The greeting and the answers, or that the door is shut."""
    with socket.socket(socket.AF_UNIX) as s:
        s.settimeout(20)
        try:
            s.connect(path)
        except PermissionError:
            return [{"door": "shut"}]
        f = s.makefile("rw")
        out = [json.loads(f.readline())]
        for request in requests if out[0].get("ok", True) else ():
            f.write(json.dumps(request) + "\n")
            f.flush()
            got = {}
            while "ok" not in got:
                got = json.loads(f.readline())
            out.append(got)
        return out


needs_root = unittest.skipUnless(os.geteuid() == 0, "only root can be another user")


@needs_root
class Peers(DaemonTest):
    def ask_as(self, y, *requests, user=STRANGER, group=STRANGER, more=()):
        """What another user is told. The kernel says who it is, not the user."""
        os.chmod(y.dir, 0o755)
        ours, theirs = os.pipe()
        child = os.fork()
        if child == 0:
            try:
                os.setgroups(list(more))
                os.setgid(group)
                os.setuid(user)
                os.write(theirs, json.dumps(talk(y.socket, requests)).encode())
            finally:
                os._exit(0)
        os.close(theirs)
        with os.fdopen(ours) as f:
            text = f.read()
        os.waitpid(child, 0)
        return json.loads(text)

    def opened(self, **more):
        y = self.yard(**more)
        os.chown(y.socket, -1, GROUP)
        self.assertTrue(y.client().ask("open", kind="walk")["ok"])
        return y

    def test_the_mode_keeps_strangers_out_and_the_kernel_says_who_comes(self):
        y = self.opened()
        self.assertEqual(self.ask_as(y, {"do": "status"}), [{"door": "shut"}])
        os.chmod(y.socket, 0o666)              # somebody opened the door too far
        got = self.ask_as(y, {"do": "status"})
        self.assertEqual(len(got), 1)
        self.assertFalse(got[0]["ok"])
        self.assertEqual(got[0]["exit"], 4)
        self.assertIn("may not", got[0]["error"])
        self.assertIn("group", got[0]["mend"])
        until(lambda: "turned away" in y.said())
        self.assertTrue(y.client().ask("status")["ok"])

    def test_the_group_works_by_default(self):
        y = self.opened()
        for who in ({"group": GROUP}, {"more": (9, GROUP, 10)}):
            got = self.ask_as(y, {"do": "status"}, {"do": "head", "n": 7}, **who)
            self.assertTrue(got[1]["ok"] and got[2]["ok"], got)
        self.assertEqual(y.rows("SELECT count(*) FROM event WHERE kind = 2"), [(2,)])

    def test_a_group_that_may_only_look(self):
        y = self.opened(config="[control]\ngroup = look\n")
        acts = [{"do": "saw", "number": "0001"}, {"do": "head", "n": 7}, {"do": "undo"},
                {"do": "close"}, {"do": "open", "kind": "walk"}, {"do": "pair"},
                {"do": "unpair"}, {"do": "paired"}]
        looks = [{"do": "status"}, {"do": "readers"}, {"do": "findings"}, {"do": "watch"}]
        got = self.ask_as(y, *acts, *looks, more=(GROUP,))[1:]
        for answer in got[:len(acts)]:
            self.refused(answer, 4, "not change anything")
        for answer in got[len(acts):]:
            self.assertTrue(answer["ok"], answer)
        self.assertEqual(y.rows("SELECT kind FROM event WHERE kind <> 6"), [(4,)])
        self.assertTrue(y.client().ask("head", n=3)["ok"])   # the daemon's own user may

    def test_a_group_that_may_nothing(self):
        y = self.opened(config="[control]\ngroup = nobody\n")
        self.assertFalse(self.ask_as(y, {"do": "status"}, more=(GROUP,))[0]["ok"])

    def test_a_token_of_somebody_else_opens_nothing(self):
        """To repeat the request of another is to act, too."""
        y = self.opened(config="[control]\ngroup = look\n")
        self.assertTrue(y.client().ask("head", n=5, token="mine")["ok"])
        got = self.ask_as(y, {"do": "head", "n": 5, "token": "mine"}, more=(GROUP,))
        self.refused(got[1], 4, "not change anything")


class Modes(DaemonTest):
    def modes(self, folder):
        return {name: stat.S_IMODE(os.lstat(os.path.join(folder, name)).st_mode)
                for name in os.listdir(folder)}

    def test_whatever_the_umask(self):
        for mask in (0o000, 0o022, 0o277):
            y = self.yard(start=False, register=None, readers=())
            deep = os.path.join(y.dir, "deep", "er")
            y.db = os.path.join(deep, "register.db")
            old = os.umask(mask if mask != 0o277 else 0o077)
            try:
                y.lugmark("init")
                y.start(before=lambda m=mask: os.umask(m if m != 0o277 else 0o077))
                self.assertTrue(y.client().ask("open", kind="walk")["ok"])
                y.lugmark("backup", os.path.join(deep, "copy.db"))
                y.lugmark("export", "--bundle", os.path.join(deep, "all.bundle"))
            finally:
                os.umask(old)
            got = self.modes(deep)
            self.assertGreaterEqual(set(got), {"register.db", "register.db-wal", "register.db-shm",
                                               "register.db.lock", "copy.db", "all.bundle"})
            self.assertEqual({name: oct(mode) for name, mode in got.items() if mode != 0o600}, {})
            self.assertEqual(stat.S_IMODE(os.stat(deep).st_mode), 0o700)
            self.assertEqual(stat.S_IMODE(os.stat(y.socket).st_mode), 0o660)
            y.stop()

    def test_a_file_that_is_replaced_is_for_the_same_eyes(self):
        y = self.yard(start=False)
        out = os.path.join(y.dir, "out.csv")
        for mode in (0o600, 0o640, 0o644):
            with open(out, "w", encoding="utf-8") as f:
                f.write("old")
            os.chmod(out, mode)
            y.lugmark("export", "--overwrite", "--output", out)
            self.assertEqual(stat.S_IMODE(os.stat(out).st_mode), mode)


class Paths(cli.CliTest):
    WRITERS = (["export", "-o"], ["export", "--overwrite", "-o"], ["export", "--bundle"],
               ["export", "--overwrite", "--bundle"], ["backup"],
               ["statement", "--from", "2024-01-01", "--to", "2026-11-02", "--overwrite", "-o"],
               ["report", "--overwrite", "-o"])

    def setUp(self):
        super().setUp()
        self.good("init")
        self.good("import", self.write("r.csv", "animal,eid,visual\nA1,999000000000001,0001\n"))
        y = self.path("victim")
        with open(y, "w", encoding="utf-8") as f:
            f.write("precious")
        os.symlink("victim", self.path("link"))
        os.symlink("nowhere", self.path("dangling"))
        os.mkfifo(self.path("pipe"))
        os.mkdir(self.path("folder"))

    def test_nothing_but_a_file_is_written_to(self):
        for writer in self.WRITERS:
            for name in ("link", "dangling", "pipe", "folder", "/dev/null"):
                done = self.run_(*writer, name)
                self.assertIn(done.returncode, (1, 2, 3, 4), (writer, name))
                self.assertTrue(done.stderr, (writer, name))
                self.assertTrue(stat.S_ISLNK(os.lstat(self.path("link")).st_mode), writer)
                self.assertTrue(stat.S_ISFIFO(os.lstat(self.path("pipe")).st_mode), writer)
                self.assertTrue(stat.S_ISCHR(os.lstat("/dev/null").st_mode), writer)
                self.assertFalse(os.path.exists(self.path("nowhere")), writer)
                self.assertEqual(self.text("victim"), "precious", (writer, name))

    def test_a_file_that_is_there_stays(self):
        for writer in (["export", "-o"], ["export", "--bundle"], ["backup"]):
            self.assertIn("there", self.run_(*writer, "victim").stderr)
            self.assertEqual(self.text("victim"), "precious", writer)
        self.assertEqual([n for n in os.listdir(self.dir) if n.startswith("victim.")], [])

    def test_a_register_is_a_file(self):
        for name in ("pipe", "folder", "/dev/null", "dangling"):
            for args in (["init"], ["verify"], ["import", "r.csv"]):
                done = self.run_(args[0], "--db", name, *args[1:])
                self.assertIn(done.returncode, (3, 4), (name, args, done.stderr))
                self.assertIn("to mend", done.stderr)
        self.assertFalse(os.path.exists(self.path("nowhere")))

    def test_what_is_imported_is_read_only(self):
        before = self.text("victim")
        for args in (["import", "victim"], ["import", "--bundle", "victim"],
                     ["import", "folder"], ["import", "--bundle", "folder"],
                     ["stock", "import", "folder"]):
            done = self.run_(*args)
            self.assertIn(done.returncode, (3, 4), (args, done.stderr))
        self.assertEqual(self.text("victim"), before)


EVIL = ["=1+1", "+1+1", "-1+1", "@SUM(1)", "=cmd|' /C calc'!A0", "=HYPERLINK(\"http://x\")"]
SHELL = ["$(touch owned)", "`touch owned`", ";touch owned;", "|touch owned", "'\"; touch owned #"]


def register(names):
    out = io.StringIO()
    rows = csv.writer(out, lineterminator="\n")
    rows.writerow(["animal", "species", "breed", "sex", "born", "dam", "mob", "colour", "eid",
                   "visual"])
    for i, name in enumerate(names):
        rows.writerow([name, "goat", name, "female", "2024-01-02", name + "d", name + "m",
                       name[:20], f"999000000000{i + 1:03d}", name[:20]])
    return out.getvalue()


def armed(text):
    """Cells that a spreadsheet would take for a formula."""
    bad = []
    for row in csv.reader(io.StringIO(text.lstrip("\ufeff"))):
        bad += [cell for cell in row if cell[:1] in "=+-@\t\r" and cell != ""
                and not re.fullmatch(r"-?[0-9]+(\.[0-9]+)?", cell)]
    return bad


class Reports(DaemonTest):
    def test_no_formula_in_a_report(self):
        """Of a session and of a yearly count: keys, numbers, mobs and what somebody called out."""
        y = self.yard(register(EVIL))
        c = y.client()
        self.assertTrue(c.ask("open", kind="count", count="2026")["ok"])
        y.ports["front"].read("999000000000002", "999000000000777")
        until(lambda: c.ask("status")["tally"]["readings"] == 2)
        for text in ("=9+9", "@lost", "-7-7"):
            self.assertTrue(c.ask("saw", number=text)["ok"], text)
        self.assertTrue(c.ask("close")["ok"])
        for args in (["1"], ["--count", "2026"]):
            text = y.lugmark("report", *args, "--format", "csv", good=False).stdout
            cells = [cell for row in csv.reader(io.StringIO(text)) for cell in row]
            self.assertIn("'" + EVIL[0], cells, args)
            self.assertIn("'" + EVIL[0] + "m", cells, args)
            self.assertEqual(armed(text), [], args)


class Guards(cli.CliTest):
    def test_no_formula_in_any_csv_for_people(self):
        self.good("init", "--name", "=2+3") if self.takes_name() else self.good("init")
        self.good("import", self.write("r.csv", register(EVIL)))
        outs = {
            "sheet": self.good("export", "--spreadsheet"),
            "statement": self.run_("statement", "--from", "2024-01-01", "--to",
                                   "2026-11-02", "--format", "csv").stdout,
            "sale": self.run_("sale-check", self.write("lot.txt", "\n".join(EVIL) + "\n"),
                              "--pack", "none", "--list", "csv",
                              env={"LUGMARK_PACKS": PACKS}).stdout,
        }
        for name, text in outs.items():
            self.assertGreater(len(text), 100, (name, text))
            self.assertEqual(armed(text), [], name)
        self.assertIn("HYPERLINK", outs["sheet"])
        # and the guarded sheet loses nothing: it imports again as what it was
        self.good("init", "--db", self.path("again.db"))
        self.good("import", "--db", self.path("again.db"), self.write("sheet.csv", outs["sheet"]))
        self.assertEqual(self.good("export", "--db", self.path("again.db")), self.good("export"))

    def takes_name(self):
        return "--name" in self.good("init", "--help")

    def test_nothing_in_a_register_is_run(self):
        self.good("init")
        self.good("import", self.write("r.csv", register(SHELL)))
        lot = self.write("lot.txt", "\n".join(SHELL) + "\n")
        for args in (["find", "touch"], ["show", SHELL[0]], ["export"], ["export", "--spreadsheet"],
                     ["statement", "--from", "2024-01-01", "--to", "2026-11-02"], ["sale-check", lot, "--pack", "none"],
                     ["backup", "$(touch owned).db"], ["export", "--bundle", "`touch owned`.b"],
                     ["decode", "$(touch owned)"], ["stock", "find", ";touch owned;"],
                     ["reconcile", "--register", "r.csv", "--explain"]):
            self.run_(*args, env={"LUGMARK_PACKS": PACKS})
        self.assertFalse(os.path.exists(self.path("owned")))

    def test_no_program_here_can_call_a_shell(self):
        """Neither is linked, so no way leads there. A reader's program is run by its name alone."""
        shells = {"system", "popen", "wordexp", "execl", "execlp", "execle"}
        for program in (LUGMARK, DAEMON):
            names = subprocess.run(["nm", "-D", "--undefined-only", program], capture_output=True,
                                   text=True, check=True).stdout
            used = {line.split()[-1].split("@")[0] for line in names.splitlines() if line.strip()}
            self.assertIn("malloc", used)          # or this finds nothing whatever there is
            self.assertEqual(used & shells, set(), program)


PACKS = os.path.join(os.path.dirname(os.path.abspath(__file__)), "../../src/cli/packs")

if __name__ == "__main__":
    tap.main()
