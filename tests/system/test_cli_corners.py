"""What commands say at their edges: other answers as JSON, wrong words, a daemon that answers oddly."""
import json
import os
import socket
import subprocess
import threading
import time

import cli
import tap
import yard

STRANGE = b"\xff\xfe"  # no UTF-8: no name, no number, no lane


class Register(cli.CliTest):
    """A register of a doe, a buck and a sold one."""

    def setUp(self):
        super().setUp()
        self.good("init", "--holding", "Hill")
        for key, sex, number, code in (("D1", "doe", "0101", 1), ("B1", "buck", "0102", 2),
                                       ("S1", "buck", "0103", 3)):
            self.good("add", "--animal", key, "--species", "goat", "--sex", sex, "--born",
                      "2023-03-01", "--visual", number, "--eid", yard.code(code), "--mob", "does")
        self.good("sell", "S1", "--date", "2025-06-01")

    def refuse(self, *args, say, exit_code=3):
        """Refused with these words; nothing written, nothing on standard output."""
        before = self.good("export")
        self.assertIn(say, self.bad(*args, exit_code=exit_code))
        self.assertEqual(self.good("export"), before)


class MadeAndChanged(Register):
    def test_init_as_json_and_a_bad_name(self):
        fresh = self.path("fresh.db")
        self.assertEqual(self.json("init", "--db", fresh, "--holding", "Dale"),
                         {"register": fresh, "holding": "Dale"})
        self.assertIn("clean text", self.bad("init", "--db", self.path("x.db"), "--holding",
                                             STRANGE, exit_code=2))
        self.assertFalse(os.path.exists(self.path("x.db")))
        self.assertIn("3 animals", self.bad("init"))
        self.assertTrue(self.bad("init", "--db", "", exit_code=2))

    def test_edit_as_json_and_what_lies_ahead(self):
        got = self.json("edit", "D1", "--mob", "kids")
        self.assertEqual((got["animal"], got["mob"]), ("D1", "kids"))
        self.assertIn("nothing changed", self.good("edit", "D1", "--mob", "kids"))
        self.refuse("edit", "D1", "--born", "2999", say="lies in the future")
        self.refuse("edit", "S1", "--status-date", "2999-01-01", say="lies in the future")
        self.refuse("edit", "D1", say="say what to change", exit_code=2)

    def test_a_register_that_nobody_names(self):
        self.assertIn("too long", self.bad("show", "D1", "--db", "x" * 5000, exit_code=2))
        nowhere = {"LUGMARK_DB": "", "HOME": "", "XDG_DATA_HOME": ""}
        self.assertIn("nothing says where the register is", self.bad("show", "D1", exit_code=2,
                                                                     env=nowhere))

    def test_bought_as_json_and_rows_that_are_refused(self):
        self.write("l.csv", "animal,species,sex,visual\nN1,goat,female,0201\nN2,goat,male,0202\n")
        self.assertEqual(self.json("buy", "--list", "l.csv", "--date", "2025-06-02"),
                         {"bought": 2})
        self.write("m.csv", "animal,species,born,visual\nN3,goat,2025-07-01,0203\n"
                            "N4,goat,2024,0204\n")
        said = self.bad("buy", "--list", "m.csv", "--date", "2025-06-02")
        self.assertIn("m.csv:2", said)
        self.assertIn("animal N3 was refused", said)
        self.assertEqual(self.json("show", "N1")["status_date"], "2025-06-02")
        self.bad("show", "N4")
        self.write("w.csv", "animal,species,sex,visual\nN5,goat,of course,0205\n")
        self.assertIn("w.csv:2", self.bad("buy", "--list", "w.csv", "--date", "2025-06-02"))
        self.refuse("buy", "--list", "gone.csv", say="gone.csv cannot be opened")
        self.refuse("buy", "--visual", "9", "--status", "sold", say="since --date", exit_code=2)
        self.refuse("buy", "--visual", "9", "--born", "2025-07-01", "--date", "2025-06-02",
                    say="cannot have been bought")

    def test_castrated(self):
        self.refuse("castrate", "S1", say="animal S1 is sold")
        self.refuse("castrate", "D1", say="entered as a female")
        self.refuse("castrate", "B1", "nobody", say="nobody")
        self.refuse("castrate", "B1", "--date", "2022-01-01",
                    say="cannot have been castrated")
        self.good("castrate", "B1", "--date", "2024-01-01")
        self.refuse("castrate", "B1", say="castrated already")
        self.assertIs(self.json("show", "B1")["castrated"], True)

    def test_retagged(self):
        self.refuse("retag", "D1", "--visual", "0301", say="say why", exit_code=2)
        self.refuse("retag", "D1", "--reason", "lost", "--visual", "0301", "--retag-counter", "9",
                    say="--retag-counter", exit_code=2)
        self.refuse("retag", "D1", "--reason", "lost", "--visual", "0301", "--eid", yard.code(77),
                    "--retag-counter", "2", say="the code of the old device")
        self.refuse("retag", "D1", "--reason", "lost", "--visual", "0301", "--applied", "2999",
                    say="lies in the future")
        self.refuse("retag", "S1", "--reason", "lost", "--visual", "0301", say="animal S1 is sold")
        self.refuse("retag", "D1", "--reason", "lost", say="give the new device", exit_code=2)
        got = self.json("retag", "D1", "--reason", "lost", "--visual", "0301", "--eid",
                        yard.code(78), "--yes")
        self.assertEqual([d["visual"] for d in got["devices"]], ["0101", "0301"])
        self.assertEqual(got["devices"][1]["replaces"], 1)

    def test_split_keeps_the_links_of_what_stays(self):
        self.good("tag", "D1", "--visual", "0302", "--eid", yard.code(82), "--yes")
        self.good("retag", "D1", "--reason", "lost", "--old", "0302", "--visual", "0303", "--eid",
                  yard.code(83), "--yes")
        self.refuse("split", "D1", "--new", "D2", say="say which device", exit_code=2)
        self.refuse("split", "D1", "--device", "0101", "--new", STRANGE, say="--new cannot be")
        self.refuse("split", "D1", "--device", "0101", "--new", "B1", say="an animal B1 already")
        self.refuse("split", "D1", "--device", "none", "--new", "D2", say="none")
        self.refuse("split", "nobody", "--device", "0101", "--new", "D2", say="nobody")
        self.refuse("split", "D1", "--device", "0101", "--new", "D2", "--dam", "D2",
                    say="its own forebear")
        self.good("split", "D1", "--device", "0101", "--new", "D2")
        left = self.json("show", "D1")["devices"]
        self.assertEqual([d["visual"] for d in left], ["0302", "0303"])
        self.assertEqual([d.get("replaces") for d in left], [None, 1])
        self.assertEqual(self.json("show", "D2")["devices"][0]["visual"], "0101")

    def test_a_sire_that_is_female_is_a_note(self):
        done = self.run_("edit", "B1", "--sire", "D1")
        self.assertEqual(done.returncode, 0, done.stderr)
        self.assertIn("D1, the sire of B1, is entered as a female", done.stderr)

    def test_output_that_cannot_be_named(self):
        self.good("export", "--output", "a" * 200)
        self.refuse("export", "--output", "a" * 200 + "b" * 60, say="cannot be written",
                    exit_code=4)
        self.assertIn("no ordinary file", self.bad("export", "--output", "/dev/null"))


class Plan(Register):
    def test_keys_sections_and_words_that_are_none(self):
        self.refuse("mark-plan", "paint", say="set, import, check or for", exit_code=2)
        self.refuse("mark-plan", "set", "form", say="set takes KEY VALUE", exit_code=2)
        self.assertIn("--help lists the keys", self.bad("mark-plan", "set", "xyzzyxyzzy", "1"))
        self.assertIn("--sex cannot be", self.bad("mark-plan", "for", "--sex", "neither"))
        self.assertIn("--born cannot be", self.bad("mark-plan", "for", "--born", "soon"))
        self.write("p.ini", "[paint]\nform = flag tag\nnonsense = 1\ncolours = 20x6 red\n")
        said = self.bad("mark-plan", "import", "p.ini")
        for line in (1, 3, 4):
            self.assertIn(f"p.ini:{line}", said)
        self.assertIn("No marking plan", self.good("mark-plan"))
        self.bad("mark-plan", "import", "gone.ini")

    def test_a_year_letter_and_an_answer_as_json(self):
        self.good("mark-plan", "set", "year-letter", "2023 S")
        self.good("mark-plan", "set", "number", "L###")
        self.good("mark-plan", "set", "colours", "2026 orange")
        self.good("mark-plan", "set", "ear-female", "right ear")
        self.assertRegex(self.good("mark-plan"), r"2023 +letter S\n")
        got = self.json("mark-plan", "for", "--born", "2026", "--sex", "female")
        self.assertEqual((got["colour"], got["place"]), ("orange", "right ear"))
        self.assertEqual(len(got["letter"]), 1)
        self.assertIn(got["colour"], got["words"])
        got = self.json("mark-plan", "check")
        self.assertEqual([c["animal"] for c in got], ["D1", "B1"])
        self.assertEqual(self.json("mark-plan")["colours"], "2026 orange")


class FromElsewhere(Register):
    def test_a_file_in_pieces_and_one_without_end(self):
        self.good("export", "--format", "icar", "--what", "animals", "--output", "i.json")
        text = self.text("i.json")
        self.write("wide.json", text + " " * 200000)  # read in more than one block
        self.assertIn("3 animals as they were", self.good("import", "--format", "icar",
                                                          "wide.json"))
        self.assertIn("is longer than", self.bad("import", "--format", "icar", "/dev/zero"))
        self.assertEqual(self.json("import", "--format", "icar", "wide.json", "--dry-run")
                         ["unchanged"], 3)


class Lives(cli.CliTest):
    """Two years of devices of two strips, one of which falls out: the age of a device is told."""

    def test_how_long_devices_of_a_strip_stay(self):
        self.good("init")
        stock, rows, tags = ["strip,position,eid,visual,form"], [], []
        for strip in (1, 2):
            for n in range(1, 31):
                code = yard.code(strip * 100 + n)
                stock.append(f"S{strip},{n},{code},{strip}{n:03d},flag tag")
                rows.append(f"A{strip}{n:02d},goat,female,does,on-farm,flag tag,left ear,{code},"
                            f"{strip}{n:03d},2023-0{1 + n % 6}-01")
                if strip == 1 and n <= 20:
                    tags.append(f"A{strip}{n:02d}")
        self.write("stock.csv", "\n".join(stock) + "\n")
        self.write("r.csv", "animal,species,sex,mob,status,form,place,eid,visual,applied\n"
                   + "\n".join(rows) + "\n")
        self.good("stock", "import", "stock.csv")
        self.good("import", "r.csv")
        for i, animal in enumerate(tags):
            self.good("remove", animal, "--old", "last", "--reason", "lost", "--date",
                      f"2024-{1 + i % 12:02d}-15")
        got = self.json("estimates", "--whole-history")
        strips = {r.get("strip"): r for r in got["retention"]}
        self.assertIn("S1", strips)
        self.assertEqual(strips["S1"]["ended"], 20)
        self.assertEqual(strips["S2"]["ended"], 0)
        told = self.good("estimates", "--whole-history")
        self.assertIn("S1", told)
        self.assertIn("no session 9", self.bad("estimates", "--session", "9"))
        self.assertIn("--session", self.bad("estimates", "--session", "first", exit_code=2))


class Race(yard.DaemonTest):
    """One daemon; what is asked of it without --json, and with."""

    def ask(self, y, *args, exit_code=0):
        env = dict(os.environ, LUGMARK_DB=y.db, LUGMARK_SOCKET=y.socket, LC_ALL="C.UTF-8",
                   LANGUAGE="")
        done = subprocess.run([cli.LUGMARK, *args], env=env, stdin=subprocess.DEVNULL,
                              capture_output=True, timeout=60, cwd=y.dir)
        out, err = done.stdout.decode(), done.stderr.decode()
        self.assertEqual(done.returncode, exit_code, (args, out, err))
        return out if exit_code in (0, 1) else err

    def test_a_session_by_hand(self):
        y = self.yard()
        y.lugmark("retag", "A2", "--old", "0002", "--reason", "lost", "--visual", "0502",
                  "--eid", yard.code(502), "--yes")
        for bad in ("", b"\xff", "m" * 64):
            self.assertIn("--mob is empty", self.ask(y, "open", "walk", "--mob", bad, exit_code=2))
        self.assertIn("no-lot", self.ask(y, "open", "sale", "--lot", "no-lot", exit_code=3))
        self.assertTrue(self.ask(y, "open", "walk", "--mob", b"\xc3\xa9".decode(), "--who", "",
                                 exit_code=2))
        opened = json.loads(self.ask(y, "open", "walk", "--mob", "does", "--json"))
        self.assertEqual(opened["expected"], 40)
        c = y.client(watch=True)
        y.ports["front"].read(yard.code(1), yard.code(2), yard.code(777))
        while c.event("verdict")["eid"] != yard.code(777):
            pass
        self.assertIn("--lane is not clean text", self.ask(y, "head", "3", "--lane", b"\xff",
                                                           exit_code=2))
        self.assertTrue(json.loads(self.ask(y, "head", "3", "--json"))["ok"])
        self.assertEqual(json.loads(self.ask(y, "undo", "--json"))["undone"], {"heads": 3})
        self.assertEqual(self.ask(y, "head", "2"), "2 heads counted\n")
        self.assertEqual(self.ask(y, "undo"), "taken back: the head count of 2\n")
        self.ask(y, "saw", "0003", exit_code=1)
        self.assertEqual(self.ask(y, "undo"), "taken back: the sighting of 0003\n")
        self.assertIn("no sighting", self.ask(y, "undo", exit_code=2))
        self.ask(y, "head", "1")  # fewer than were identified
        told = self.ask(y, "close", exit_code=1)
        self.assertIn("old device:  no. 0002  999000000000002", told)
        self.assertIn("fewer heads counted (1) than animals identified (2)", told)
        self.assertEqual(self.ask(y, "findings", "1", exit_code=1), told)

    def test_a_list_too_long_for_paper_is_cut(self):
        many = "animal,species,mob,status,eid,visual\n" + "".join(
            f"A{n},goat,does,on-farm,{yard.code(n)},{n:04d}\n" for n in range(1, 251))
        y = self.yard(register=many)
        self.ask(y, "open", "count", "--count", "2026", "--who", "keeper")
        y.ports["front"].read(yard.code(1))
        c = y.client(watch=True)
        yard.until(lambda: c.ask("status")["tally"]["present"] == 1)
        told = self.ask(y, "close", exit_code=1)
        self.assertIn("... and 49 more; --json lists them all", told)
        self.assertEqual(len(json.loads(self.ask(y, "findings", "1", "--json", exit_code=1))
                             ["findings"]), 249)
        told = self.ask(y, "count", "2026", exit_code=1)
        self.assertIn("... and 49 more; --json lists them all", told)
        self.assertIn("counted by keeper", told)
        self.assertIn("not known: 1 of 1 sessions have no head count", told)

    def test_a_count_of_all_sorts(self):
        y = self.yard()
        y.lugmark("retag", "A2", "--old", "0002", "--reason", "lost", "--visual", "0502",
                  "--eid", yard.code(502), "--yes")
        y.lugmark("lose", "A5", "--date", "2026-01-05")
        self.ask(y, "open", "count", "--count", "2026", "--mob", "does")
        c = y.client(watch=True)
        y.ports["front"].read(yard.code(1), yard.code(777), yard.code(5), yard.code(6))
        while c.event("verdict")["eid"] != yard.code(6):
            pass
        self.ask(y, "saw", "0999", "--on-last", exit_code=1)
        self.ask(y, "head", "9")
        self.ask(y, "close", exit_code=1)
        self.ask(y, "open", "count", "--count", "2026", "--mob", "bucks")
        y.ports["front"].read(yard.code(1))
        while c.event("verdict")["eid"] != yard.code(1):
            pass
        self.ask(y, "head", "1")
        self.ask(y, "close", exit_code=1)
        told = self.ask(y, "count", "2026", exit_code=1)
        self.assertIn("mob does", told)
        self.assertIn("heads counted         10", told)
        self.assertIn("to be explained", told)
        self.assertIn('A6  999000000000006  "0999"', told)
        self.assertIn("nobody  999000000000777", told)
        self.assertIn("lost 2026-01-05", told)
        self.assertRegex(told, r"A1 .*sessions? \S+, \S+")
        table = self.ask(y, "statement", "--from", "2026-01-01", "--to", "2026-12-31", "--count",
                         "2026", "--format", "csv", exit_code=1)
        for row in ("count,,,,name,2026", "count,,,,heads,10", "count,,,,book,40",
                    "count,,,,difference,-30"):
            self.assertIn(row + "\r\n", table)
        self.assertIn("\r\ndifference,", table)


class Odd(cli.CliTest):
    """A daemon of our own that answers as a real one does when something is wrong."""

    GREETING = b'{"schema":"lugmark.control/1"}\n'

    def serve(self, answer, greeting=GREETING):
        """Answer each request line by answer(request): bytes to send, or None to hang up."""
        at = self.path("odd.sock")
        listener = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        listener.bind(at)
        listener.listen(5)
        self.addCleanup(listener.close)
        self.env["LUGMARK_SOCKET"] = at

        def one(peer):
            with peer, peer.makefile("rb") as lines:
                peer.sendall(greeting)
                for line in lines:
                    back = answer(json.loads(line))
                    if back is None:
                        return
                    peer.sendall(back)

        def loop():
            while True:
                try:
                    peer, _ = listener.accept()
                except OSError:
                    return
                try:
                    one(peer)
                except OSError:
                    pass
        threading.Thread(target=loop, daemon=True).start()

    def test_findings_that_cannot_be_had_do_not_undo_the_close(self):
        for flagged in (0, 1):
            def answer(request, flagged=flagged):
                if request["do"] == "close":
                    return (json.dumps({"ok": True, "tally": {"expected": 7, "present": 7 - flagged,
                                                              "not_seen": flagged}}) + "\n").encode()
                return b'{"ok":false,"exit":4,"error":"the disk is full","mend":"make room"}\n'
            self.serve(answer)
            done = self.run_("close")
            self.assertEqual(done.returncode, flagged, done.stderr)
            self.assertRegex(done.stdout, r"^closed: ")
            self.assertIn("the disk is full", done.stderr)
            os.unlink(self.path("odd.sock"))

    def test_an_answer_that_names_no_session_is_looked_up(self):
        for status, code, said in (
                ({"session": {"id": 3, "kind": "walk"}, "tally": {"expected": 12}}, 0,
                 "12 animals are expected"),
                ({"session": None}, 4, ""), (None, 4, "")):
            def answer(request, status=status):
                if request["do"] == "open":
                    return b'{"ok":true,"repeated":true}\n'
                if status is None:
                    return b'{"ok":false,"exit":4,"error":"no"}\n'
                return (json.dumps({"ok": True, **status}) + "\n").encode()
            self.serve(answer)
            done = self.run_("open", "walk")
            self.assertEqual(done.returncode, code, done.stderr)
            self.assertIn(said, done.stdout)
            os.unlink(self.path("odd.sock"))

    def test_an_undo_of_nobody_knows_what(self):
        self.serve(lambda request: b'{"ok":true,"undone":{}}\n')
        self.assertEqual(self.good("undo"), "taken back\n")

    def test_lines_that_are_none(self):
        def answer(request):  # a stream, junk, then the answer
            return b'{"event":"tally"}\nnot json\n' + b'{"ok":true,"undone":{}}\n'
        self.serve(answer)
        self.assertEqual(self.good("undo"), "taken back\n")

    def test_a_line_without_end(self):
        self.serve(lambda request: b"x" * (40 << 20))
        self.assertTrue(self.bad("undo", exit_code=4))

    def test_another_version_and_no_greeting(self):
        self.serve(lambda request: None, greeting=b'{"schema":"lugmark.control/9"}\n')
        self.assertIn("of the same version", self.bad("undo", exit_code=4))
        os.unlink(self.path("odd.sock"))
        self.serve(lambda request: None, greeting=b"hello\n")
        self.assertIn("the daemon speaks", self.bad("undo", exit_code=4))

    def test_a_path_longer_than_a_socket_can_have(self):
        self.assertIn("longer than 107 bytes", self.bad("undo", exit_code=2, env={
            "LUGMARK_SOCKET": "/" + "s" * 107}))
        self.assertIn("no daemon is running", self.bad("undo", exit_code=4, env={
            "LUGMARK_SOCKET": "/" + "s" * 106}))
        here = self.path("run")
        os.mkdir(here)
        env = {k: v for k, v in self.env.items() if k != "LUGMARK_SOCKET"}
        self.env = dict(env, XDG_RUNTIME_DIR=here)
        self.assertIn("no daemon is running at", self.bad("undo", exit_code=4))
        self.env = env
        self.assertIn("/run/lugmark/control.sock", self.bad("undo", exit_code=4))

    def test_a_tag_that_is_not_read(self):
        self.good("init")
        self.good("add", "--animal", "A1", "--species", "goat", "--sex", "doe", "--visual", "1")
        junk = (b'{"ok":true}\n{"event":"verdict","called":"1","eid":"999000000000001"}\n'
                b'{"event":"verdict","eid":"uid:04A1B2C3D4E5F6"}\n{"event":"verdict","eid":"x"}\n'
                b'{"event":"tally"}\nnot json\n')
        self.serve(lambda request: junk)
        args = ("tag", "A1", "--visual", "2", "--scan", "--timeout")
        began = time.monotonic()
        self.assertIn("no code was read in 1 seconds", self.bad(*args, "1", exit_code=4))
        self.assertGreater(time.monotonic() - began, 0.9)
        self.assertIn("--timeout", self.bad(*args, "0", exit_code=2))
        os.unlink(self.path("odd.sock"))
        self.serve(lambda request: None)
        self.assertIn("went away", self.bad(*args, "60", exit_code=4))
        os.unlink(self.path("odd.sock"))
        self.assertIn("no daemon is running", self.bad(*args, "60", exit_code=4))
        self.assertIn("socket is empty", self.bad(*args, "60", exit_code=2, env={
            "LUGMARK_SOCKET": "/" + "s" * 200}))


tap.main()
