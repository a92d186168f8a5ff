"""The register's life: births, losses, purchases, sales, new tags, merges, and taking them back."""
import csv
import datetime
import io
import json
import subprocess

import cli
import tap
import yard

STOCK = ("strip,position,eid,visual,form,colour,official,received\n"
         + "".join(f"S25,{n},9990000000250{n:02d},50{n:02d},flag tag,yellow,yes,2025-01-10\n"
                   for n in range(1, 11)))


class Life(cli.CliTest):
    def setUp(self):
        super().setUp()
        self.good("init")

    def rows(self):
        return list(csv.DictReader(io.StringIO(self.good("export"), newline="")))

    def dam(self, key="D1", born="2021-03-01", number="0101"):
        self.good("add", "--animal", key, "--species", "goat", "--sex", "doe", "--born", born,
                  "--visual", number, "--mob", "does")

    def stock(self):
        self.write("stock.csv", STOCK)
        self.good("stock", "import", "stock.csv")

    def unchanged(self, *args, say, exit_code=1):
        """The command refuses with these words, and nothing is written."""
        before = self.good("export")
        done = self.run_(*args)
        self.assertEqual(done.returncode, exit_code, (args, done.stdout, done.stderr))
        self.assertEqual(done.stdout, "")
        self.assertIn(say, done.stderr)
        self.assertEqual(self.good("export"), before)
        return done.stderr


class ComingsAndGoings(Life):
    def test_each_status_with_its_date_and_reason(self):
        for n, (verb, status) in enumerate((("sell", "sold"), ("die", "dead"),
                                            ("slaughter", "slaughtered"), ("lose", "lost")), 1):
            self.dam(f"D{n}", number=f"010{n}")
            self.good(verb, f"D{n}", "--date", "2025-06-01", "--why", "because of that")
            entry = self.json("show", f"D{n}")
            self.assertEqual((entry["status"], entry["status_date"]), (status, "2025-06-01"))
            history = self.json("show", f"D{n}", "--history")["history"]
            self.assertIn("2025-06-01", history[-1]["why"])
            self.assertIn("because of that", history[-1]["why"])
            if verb != "lose":
                self.unchanged("sell", f"D{n}", say=status, exit_code=3)
        self.good("found", "D4", "--date", "2025-06-03")
        self.assertEqual(self.json("show", "D4")["status"], "on-farm")
        self.unchanged("found", "D4", say="on-farm", exit_code=3)

    def test_dates_that_cannot_be(self):
        self.dam()
        later = (datetime.date.today() + datetime.timedelta(days=3)).isoformat()
        for verb in ("sell", "die", "slaughter", "lose", "castrate"):
            self.unchanged(verb, "D1", "--date", later, say="future", exit_code=3)
        self.unchanged("sell", "D1", "--date", "2020-01-01", say="was born", exit_code=3)
        self.unchanged("sell", "D1", "--date", "2020-13-01", say="write 2026", exit_code=3)
        self.good("lose", "D1", "--date", "2025-06-05")
        self.unchanged("found", "D1", "--date", "2025-06-01", say="lost since", exit_code=3)

    def test_all_animals_named_or_none(self):
        self.dam("D1")
        self.dam("D2", number="0102")
        self.good("die", "D2")
        self.unchanged("sell", "D1", "D2", say="D2 is dead", exit_code=3)
        self.unchanged("move", "D1", "D2", "--mob", "x", say="D2 is dead", exit_code=3)
        self.unchanged("sell", "D1", "nobody", say="nobody", exit_code=3)

    def test_castrate_and_move(self):
        self.good("add", "--animal", "K", "--sex", "male", "--visual", "1")
        self.dam()
        self.good("castrate", "K")
        self.assertTrue(self.json("show", "K")["castrated"])
        self.unchanged("castrate", "K", say="already", exit_code=3)
        self.unchanged("castrate", "D1", say="female", exit_code=3)
        self.good("move", "K", "D1", "--mob", "hill")
        self.assertEqual({r["mob"] for r in self.rows()}, {"hill"})
        self.good("move", "K", "--mob", "")
        self.assertNotIn("mob", self.json("show", "K"))
        self.unchanged("move", "K", say="--mob", exit_code=2)

    def test_buy_one_and_a_list(self):
        self.good("buy", "--from", "Hill", "--date", "2025-04-01", "--animal", "B1", "--sex", "doe",
                  "--visual", "0500")
        self.assertEqual(self.json("show", "B1")["status_date"], "2025-04-01")
        self.assertIn("from Hill", self.json("show", "B1", "--history")["history"][0]["why"])
        self.write("l.csv", "animal,sex,visual\nB2,doe,0501\nB3,doe,0502\n")
        self.good("buy", "--list", "l.csv", "--from", "Hill", "--date", "2025-04-02")
        self.assertEqual(self.json("show", "B3")["status_date"], "2025-04-02")
        self.unchanged("buy", "--list", "l.csv", say="l.csv:3", exit_code=3)
        self.good("undo", "--register")
        self.assertEqual([r["animal"] for r in self.rows()], ["B1"])


class Undo(Life):
    def test_back_step_by_step_to_every_state_there_was(self):
        states = [self.good("export")]
        steps = [["add", "--animal", "D1", "--sex", "doe", "--visual", "1", "--eid",
                  "999000000000001", "--born", "2021"],
                 ["buy", "--animal", "B1", "--visual", "2", "--date", "2025-01-02"],
                 ["move", "D1", "B1", "--mob", "hill"],
                 ["retag", "D1", "--reason", "lost", "--visual", "1", "--eid", "999000000000002",
                  "--date", "2025-02-01"],
                 ["edit", "B1", "--breed", "boer"],
                 ["lose", "B1", "--date", "2025-03-01"],
                 ["found", "B1", "--date", "2025-03-02"],
                 ["tag", "D1", "--visual", "77", "--form", "leg band"],
                 ["merge", "D1", "B1"],
                 ["split", "D1", "--device", "77", "--new", "N1"],
                 ["remove", "D1", "--old", "999000000000002", "--reason", "torn"],
                 ["sell", "D1", "N1"]]
        for step in steps:
            self.good(*step)
            states.append(self.good("export"))
        self.assertEqual(len(set(states)), len(states))
        for step, state in zip(reversed(steps), reversed(states[:-1])):
            self.assertIn("taken back", self.good("undo", "--register"), step)
            self.assertEqual(self.good("export"), state, step)
            self.good("verify")
        self.assertIn("nothing", self.bad("undo", "--register").replace("no change", "nothing"))
        # taken back, and still in the history
        self.assertEqual(len(self.json("show", "D1", "--history")["history"]), 16)

    def test_dry_run_shows_and_changes_nothing(self):
        self.dam()
        self.good("sell", "D1", "--to", "market")
        before = self.good("export")
        out = self.good("undo", "--register", "--dry-run")
        self.assertIn("to market", out)
        self.assertIn("sold", out)
        self.assertEqual(self.good("export"), before)
        got = self.json("undo", "--register")
        self.assertEqual((got["animals"], got["dry_run"]), (["D1"], False))
        self.assertEqual(self.rows()[0]["status"], "on-farm")

    def test_an_import_is_one_change(self):
        self.write("a.csv", "animal,visual,mob\n" + "".join(f"A{n},{n},m\n" for n in range(300)))
        self.write("b.csv", "animal,visual,mob\n" + "".join(f"A{n},{n},k\n" for n in range(0, 300, 2)))
        self.good("import", "a.csv")
        first = self.good("export")
        self.good("import", "b.csv")
        self.assertIn("of 150 animals", self.good("undo", "--register"))
        self.assertEqual(self.good("export"), first)
        self.good("undo", "--register")
        self.assertEqual(self.rows(), [])
        # an animal that was taken back may come again
        self.good("import", "a.csv")
        self.assertEqual(self.good("export"), first)
        self.good("verify")

    def test_undo_register_only_goes_with_register(self):
        self.bad("undo", "--dry-run", exit_code=2)


class MergeAndSplit(Life):
    def test_merge_unites_devices_and_kids(self):
        self.dam("A")
        self.good("add", "--animal", "B", "--eid", "999000000000002", "--breed", "boer",
                  "--visual", "0102")
        self.good("retag", "B", "--reason", "lost", "--visual", "0103")
        self.good("add", "--animal", "K", "--dam", "B", "--born", "2025", "--visual", "7")
        before = self.good("export")
        self.good("merge", "A", "B", "--why", "one goat")
        rows = [r for r in self.rows() if r["animal"] == "A"]
        self.assertEqual({(r["visual"], r["eid"]) for r in rows},
                         {("0101", ""), ("0102", "999000000000002"), ("0103", "")})
        old = [r["visual"] for r in rows].index("0102") + 1
        self.assertEqual([r["replaces"] for r in rows if r["visual"] == "0103"], [str(old)])
        self.assertEqual({r["breed"] for r in rows}, {"boer"})
        self.assertEqual(self.json("show", "K")["dam"], "A")
        self.assertNotIn("B", {r["animal"] for r in self.rows()})
        self.assertIn("no animal", self.bad("show", "B"))
        self.assertEqual(self.json("show", "0103")["animal"], "A")
        last = self.json("show", "B", "--history")["history"][-1]
        self.assertEqual(last["entry"]["merged_into"], "A")
        self.assertIn("2 animals", self.good("verify"))
        self.good("undo", "--register")
        self.assertEqual(self.good("export"), before)

    def test_merge_refuses_what_cannot_be_one(self):
        self.dam("A")
        self.good("add", "--animal", "M", "--sex", "male", "--visual", "9")
        self.unchanged("merge", "A", "M", say="is male", exit_code=3)
        self.unchanged("merge", "A", "A", say="one animal already", exit_code=3)
        self.good("add", "--animal", "K", "--dam", "A", "--born", "2025", "--visual", "7")
        self.unchanged("merge", "A", "K", say="own forebear", exit_code=3)

    def test_split_takes_a_device_along(self):
        self.dam("A")
        self.good("tag", "A", "--eid", "999000000000009", "--form", "bolus", "--quiet-cautions")
        self.good("split", "A", "--device", "999000000000009", "--new", "N", "--sex", "doe")
        by_key = {r["animal"]: r for r in self.rows()}
        self.assertEqual(by_key["N"]["eid"], "999000000000009")
        self.assertEqual(by_key["A"]["eid"], "")
        self.assertEqual(by_key["N"]["species"], "goat")
        self.unchanged("split", "A", "--device", "0101", "--new", "N", say="already", exit_code=3)


class NewTags(Life):
    def test_retag_keeps_the_old_device_and_links_it(self):
        self.dam()
        self.good("retag", "D1", "--old", "0101", "--reason", "lost", "--visual", "0101",
                  "--date", "2025-05-05", "--colour", "red")
        old, new = self.rows()
        self.assertEqual((old["removed"], old["why"], old["replaces"]), ("2025-05-05", "lost", ""))
        self.assertEqual((new["visual"], new["applied"], new["replaces"], new["colour"]),
                         ("0101", "2025-05-05", "1", "red"))
        self.assertIn("in place of", self.good("show", "D1"))
        # the link survives export and import
        csv_text = self.good("export")
        self.good("init", "--db", "b.db")
        self.good("import", "--db", "b.db", "-", stdin=csv_text)
        self.assertEqual(self.good("export", "--db", "b.db"), csv_text)
        # and an import of the same without the column does not lose it
        lines = [",".join(line.split(",")[:-1]) for line in csv_text.splitlines()]
        self.good("import", "-", stdin="\n".join(lines) + "\n")
        self.assertEqual(self.good("export"), csv_text)

    def test_the_same_code_needs_a_higher_counter(self):
        self.good("add", "--animal", "A", "--eid", "999000000000001", "--official", "yes",
                  "--visual", "1")
        self.unchanged("retag", "A", "--reason", "lost", "--eid", "999000000000001",
                       say="retagging counter", exit_code=3)
        done = self.run_("retag", "A", "--reason", "lost", "--retag-counter", "1", "--visual", "1")
        self.assertEqual(done.returncode, 0, done.stderr)
        self.assertIn("animal-health authority", done.stderr)
        old, new = self.rows()
        self.assertEqual(old["eid"], new["eid"])
        self.assertIn("0x9", new["eid_text"])
        self.unchanged("retag", "A", "--reason", "lost", "--retag-counter", "1",
                       say="higher retagging counter than 1", exit_code=3)
        self.good("retag", "A", "--reason", "lost", "--retag-counter", "2")
        self.good("verify")

    def test_which_device_and_why_must_be_clear(self):
        self.dam()
        self.good("tag", "D1", "--visual", "55", "--form", "leg band", "--applied", "2025-01-01")
        self.unchanged("remove", "D1", "--reason", "lost", say="wears 2", exit_code=3)
        self.unchanged("remove", "D1", "--old", "66", "--reason", "lost", say="66", exit_code=3)
        self.unchanged("remove", "D1", "--old", "55", say="--reason", exit_code=2)
        self.unchanged("remove", "D1", "--old", "55", "--reason", "lost", "--date", "2024-01-01",
                       say="was applied", exit_code=3)
        self.unchanged("retag", "D1", "--old", "55", "--reason", "lost", say="new device",
                       exit_code=2)
        self.good("remove", "D1", "--old", "last", "--reason", "chewed by a dog")
        self.assertEqual([r["why"] for r in self.rows()], ["", "chewed by a dog"])


class Tagging(Life):
    def test_next_of_the_strip(self):
        self.dam()
        self.stock()
        for n in range(1, 4):
            self.good("tag", "--strip", "S25", "--dam", "0101", "--sex", "female", "--born",
                      "2025-03-01", "--applied", "2025-03-05")
        kids = self.rows()[1:]
        self.assertEqual([(r["animal"], r["eid"], r["colour"], r["dam"], r["official"])
                          for r in kids],
                         [(f"500{n}", f"99900000002500{n}", "yellow", "D1", "1")
                          for n in range(1, 4)])
        self.unchanged("tag", "--strip", "S99", "--born", "2025-03-01", say="S99", exit_code=3)

    def warns(self, option, say, *args):
        """Refused with 1; --yes and its own option let it through, another one does not."""
        self.assertIn(option, self.unchanged("tag", *args, say=say))
        other = "--allow-late" if option != "--allow-late" else "--allow-dam"
        self.unchanged("tag", *args, other, say=say)
        for allowed in (option, "--yes"):
            self.good("tag", *args, allowed)
            self.good("undo", "--register")

    def test_each_warning(self):
        self.dam()
        self.dam("YOUNG", born="2025-01-01", number="0190")
        self.good("add", "--animal", "BUCK", "--sex", "buck", "--visual", "0191")
        self.stock()
        base = ["--visual", "1", "--born", "2025-03-01", "--applied", "2025-03-03"]
        future = (datetime.date.today() + datetime.timedelta(days=3)).isoformat()
        # common practice: tag at about a week or younger
        self.warns("--allow-late", "8 days old", "--visual", "1", "--born", "2025-03-01",
                   "--applied", "2025-03-09")
        self.warns("--allow-dam", "called or wears D9", *base, "--dam", "D9")
        self.warns("--allow-dam", "male", *base, "--dam", "BUCK")
        # common practice: the carrying time of about 150 days alone makes it impossible
        self.warns("--allow-dam", "five months", *base, "--dam", "YOUNG")
        self.warns("--allow-future", "before its birth", "--visual", "1", "--born", "2025-03-09",
                   "--applied", "2025-03-08")
        # what the register's own import would refuse is no warning
        for late in (["--born", future], ["--born", "2025-03-01", "--applied", future]):
            self.unchanged("tag", "--visual", "1", *late, "--yes", say="lies in the future", exit_code=3)
        self.warns("--allow-number", "D1 wears the number 0101", "--visual", "0101")
        self.warns("--allow-skip", "is one missing, or are we one out", "--eid", "999000000025003")
        self.warns("--allow-pair", "not with 5009", "--eid", "999000000025001", "--visual", "5009")
        self.warns("--allow-pair", "another code", "--eid", "999000000099999", "--visual", "5001")
        self.good("tag", *base)  # and without anything odd nothing is asked

    def test_the_seventh_day_is_no_warning(self):
        self.good("tag", "--visual", "1", "--born", "2025-03-01", "--applied", "2025-03-08")

    def test_a_code_that_is_worn_is_refused(self):
        self.good("add", "--animal", "A", "--eid", "999000000000001")
        self.unchanged("tag", "--visual", "2", "--eid", "999000000000001", say="is worn by animal A")
        self.unchanged("tag", "--visual", "2", "--eid", "999000000000001", "--yes",
                       say="worn by animal A already", exit_code=3)

    def test_a_dam_younger_than_her_kid_is_refused(self):
        self.dam(born="2025-03-02")
        self.unchanged("tag", "--visual", "1", "--born", "2025-03-01", "--applied", "2025-03-02",
                       "--dam", "D1", "--yes", say="cannot be of", exit_code=3)

    def test_cautions_once_a_day(self):
        words = "still know her kid"
        one = self.run_("tag", "--visual", "1", "--quiet-cautions")
        self.assertNotIn(words, one.stderr)
        self.assertIn(words, self.run_("tag", "--visual", "2").stderr)
        self.assertNotIn(words, self.run_("tag", "--visual", "3").stderr)

    def test_what_is_missing_is_said(self):
        self.unchanged("tag", "--born", "2025", say="which device", exit_code=2)
        self.unchanged("tag", "nobody", "--visual", "3", say="nobody", exit_code=3)
        self.unchanged("tag", "--scan", say="daemon", exit_code=4)


class Scan(Life):
    def test_the_tag_that_is_read_gets_its_number_from_the_stock(self):
        self.stock()
        port = yard.Port(self.path("port"))
        self.addCleanup(port.close)
        self.write("l.conf", "[lane 1]\n[reader front]\nlane = 1\ndriver = serial\n"
                             f"port = {self.path('port')}\nline = 9600 8N1\ndecoder = text\n")
        daemon = subprocess.Popen(
            [yard.DAEMON, "--foreground", "--config", self.path("l.conf"), "--db",
             self.env["LUGMARK_DB"], "--socket", self.env["LUGMARK_SOCKET"]],
            env=self.env, stderr=subprocess.DEVNULL)
        self.addCleanup(daemon.wait)
        self.addCleanup(daemon.terminate)
        yard.until(lambda: "live" in self.run_("readers").stdout)
        tagging = subprocess.Popen([cli.LUGMARK, "tag", "--scan", "--timeout", "20", "--json"],
                                   env=self.env, cwd=self.dir, stdout=subprocess.PIPE,
                                   stderr=subprocess.PIPE)
        self.assertIn(b"hold the new tag", tagging.stderr.readline())

        def read_on():
            port.read("999000000025001")
            return tagging.poll() is not None
        yard.until(read_on)
        out, err = tagging.communicate()
        self.assertEqual(tagging.returncode, 0, err)
        entry = json.loads(out)
        self.assertEqual(entry["animal"], "5001")
        self.assertEqual(entry["devices"][0]["eid"], "999000000025001")

        # the plan is taken over by the daemon that is up, and told with the next reading
        self.good("mark-plan", "set", "form", "button tag")
        client = yard.Client(self.env["LUGMARK_SOCKET"])
        self.addCleanup(client.close)
        client.ask("watch")

        def told():
            port.read("999000000025001")
            return client.event("idle")["should"] == "button tag"
        yard.until(told)
        client.ask("open", kind="walk")
        port.read("999000000025001")
        self.assertEqual(client.event("verdict")["should"], "button tag")

        # an entry that counts no more is nobody to wait for, also in a session that is open
        self.dam("A", number="0901")
        self.dam("B", number="0902")

        def expected():
            return client.ask("status")["tally"]["expected"]
        yard.until(lambda: port.read("999000000025001") or expected() == 3)
        self.good("merge", "A", "B")
        yard.until(lambda: port.read("999000000025001") or expected() == 2)
        self.good("undo", "--register")
        yard.until(lambda: port.read("999000000025001") or expected() == 3)


class Parentage(Life):
    def test_circles_and_younger_parents(self):
        self.dam("A", born="2020")
        self.good("add", "--animal", "B", "--dam", "A", "--visual", "2", "--born", "2022")
        self.good("add", "--animal", "C", "--sire", "B", "--visual", "3", "--born", "2024")
        self.unchanged("edit", "A", "--dam", "C", say="own forebear", exit_code=3)
        self.unchanged("edit", "A", "--dam", "A", say="own forebear", exit_code=3)
        self.unchanged("edit", "A", "--born", "2023", say="cannot be of A", exit_code=3)
        self.unchanged("add", "--animal", "Z", "--dam", "C", "--born", "2021", "--visual", "4",
                       say="cannot be of C", exit_code=3)

    def test_import_reports_every_row(self):
        self.good("add", "--animal", "OLD", "--dam", "A1", "--born", "2020", "--visual", "99")
        self.write("k.csv", "animal,born,dam,sire,visual\nA1,2021,,,1\nB,2020,C,,2\nC,2019,D,,3\n"
                            "D,2018,,B,4\nE,2020,,F,5\nF,2022,,,6\nG,2021,,,7\n")
        err = self.bad("import", "k.csv")
        for words in ("k.csv:2: animal OLD, born 2020, cannot be of A1", "k.csv:3: animal B would",
                      "k.csv:6: animal E, born 2020, cannot be of F"):
            self.assertIn(words, err)
        self.assertNotIn("k.csv:8", err)
        self.assertEqual([r["animal"] for r in self.rows()], ["OLD"])

    def test_import_refuses_devices_that_cannot_be(self):
        year = datetime.date.today().year + 1
        self.write("d.csv", "animal,born,visual,eid,applied,removed\n"
                            "A,2021,1,,2022-01-02,2022-01-01\nB,2021,2,,2022-01-02,2022-01\n"
                            f"C,{year},3,,,\nD,2021,4,,{year}-01-01,\n"
                            "E,2021,5,999000000000005,2022-01-01,\n"
                            "E,2021,5,999000000000005,2022-01-01,\nF,2021,6,,,\nF,2021,7,,,\n")
        err = self.bad("import", "d.csv")
        for words in ("d.csv:2:6: removed", "d.csv:4:2: born", "d.csv:5:5: applied",
                      "d.csv:7: the same device"):
            self.assertIn(words, err)
        self.assertNotIn("d.csv:3", err)
        self.assertNotIn("d.csv:9", err)
        self.assertEqual(self.rows(), [])


class Plan(Life):
    def test_in_words_set_and_asked(self):
        self.assertIn("No marking plan", self.good("mark-plan"))
        self.good("mark-plan", "set", "ear-female", "right ear")
        self.good("mark-plan", "set", "colour-cycle", "2024 black, white, orange")
        self.good("mark-plan", "set", "number", "Y###")
        out = self.good("mark-plan")
        self.assertIn("ear-female        right ear", out)
        self.assertIn("2026  orange", out)
        self.assertEqual(self.good("mark-plan", "for", "--born", "2026-03", "--sex", "female"),
                         "orange in the right ear, number 6###\n")
        self.assertIn("did you mean ear-male", self.bad("mark-plan", "set", "ear-mal", "left"))
        self.assertIn("left ear, right ear", self.bad("mark-plan", "set", "ear-male", "rumen"))
        self.bad("mark-plan", "set", "ear-male", exit_code=2)
        self.good("mark-plan", "set", "ear-female", "")
        self.assertNotIn("ear-female", self.json("mark-plan"))

    def test_from_a_file_all_or_nothing(self):
        self.write("p.ini", "[mark-plan]\near-female = left\nform = flag tag\n")
        self.good("mark-plan", "import", "p.ini")
        self.assertEqual(self.json("mark-plan"), {"ear-female": "left", "form": "flag tag"})
        self.write("q.ini", "ear-male = left\nwhat = 3\nform = brick\n")
        err = self.bad("mark-plan", "import", "q.ini")
        self.assertIn("q.ini:2", err)
        self.assertIn("q.ini:3", err)
        self.assertEqual(self.json("mark-plan"), {"ear-female": "left", "form": "flag tag"})

    def test_what_does_not_fit_is_a_note(self):
        self.good("mark-plan", "set", "ear-female", "right ear")  # common practice of one holding
        self.good("mark-plan", "set", "colours", "2025 white")
        self.good("add", "--animal", "A", "--sex", "doe", "--born", "2025", "--visual", "1",
                  "--place", "left", "--colour", "red")
        self.good("add", "--animal", "B", "--sex", "doe", "--born", "2025", "--visual", "2",
                  "--place", "right", "--colour", "white")
        out = self.good("mark-plan", "check")
        self.assertIn("A            should wear: white, right ear", out)
        self.assertNotIn("B  ", out)
        self.assertEqual(self.json("mark-plan", "check"),
                         [{"animal": "A", "should": "white, right ear"}])
        self.assertIn("white, right ear", self.good("show", "A"))
        self.assertNotIn("should", self.good("show", "B"))
        done = self.run_("tag", "--visual", "3", "--sex", "doe", "--born", "2025-03-01",
                         "--applied", "2025-03-02", "--colour", "red")
        self.assertEqual(done.returncode, 0)
        self.assertIn("should wear: white", done.stderr)
        self.assertEqual(self.rows()[-1]["place"], "right ear")


class Year(Life):
    """A whole year; the script keeps its own register beside and both must agree at the end."""

    def test_a_year(self):
        self.stock()
        want = {}

        def note(key, **fields):
            want.setdefault(key, {}).update(fields)

        for n in range(1, 7):
            self.dam(f"D{n}", number=f"010{n}")
            note(f"D{n}", status="on-farm", mob="does", worn=[f"010{n}"])
        for n in range(1, 6):  # March: five kids of four does
            mother = f"D{min(n, 4)}"
            self.good("tag", "--strip", "S25", "--dam", mother, "--sex",
                      "male" if n % 2 else "female", "--born", f"2025-03-{n:02d}", "--applied",
                      f"2025-03-{n + 3:02d}", "--mob", "does", "--species", "goat")
            note(f"50{n:02d}", status="on-farm", mob="does", worn=[f"50{n:02d}"], dam=mother)
        self.good("die", "5005", "--date", "2025-03-20")
        note("5005", status="dead")
        self.good("castrate", "5001", "5003", "--date", "2025-04-20")
        note("5001", castrated="1")
        note("5003", castrated="1")
        self.good("buy", "--animal", "B1", "--from", "Hill", "--date", "2025-05-01", "--sex", "buck",
                  "--visual", "0900", "--mob", "bucks")
        note("B1", status="on-farm", mob="bucks", worn=["0900"])
        self.good("lose", "D6", "--date", "2025-06-01")
        self.good("retag", "D2", "--old", "0102", "--reason", "torn", "--visual", "0102", "--date",
                  "2025-06-10")
        note("D2", gone=["0102"])
        # a goat without a tag walks in, is entered, and turns out to be the lost one
        self.good("add", "--animal", "X1", "--visual", "0777", "--sex", "doe")
        self.good("found", "D6", "--date", "2025-07-01")
        self.good("merge", "D6", "X1")
        note("D6", status="on-farm", worn=["0106", "0777"])
        self.good("move", "5001", "5003", "--mob", "wethers")
        note("5001", mob="wethers")
        note("5003", mob="wethers")
        self.good("sell", "5001", "5003", "D1", "--date", "2025-09-01", "--to", "market")
        self.good("undo", "--register")  # D1 was not meant
        self.good("sell", "5001", "5003", "--date", "2025-09-01", "--to", "market")
        note("5001", status="sold")
        note("5003", status="sold")
        self.good("slaughter", "5004", "--date", "2025-10-10")
        self.good("undo", "--register")
        self.good("remove", "D3", "--reason", "unreadable", "--date", "2025-11-01")
        note("D3", worn=[], gone=["0103"])
        self.good("slaughter", "D4", "--date", "2025-12-01")
        note("D4", status="slaughtered")

        got = {}
        for r in self.rows():
            a = got.setdefault(r["animal"], {"status": r["status"], "mob": r["mob"],
                                             "dam": r["dam"], "castrated": r["castrated"],
                                             "worn": [], "gone": []})
            a["gone" if r["removed"] else "worn"].append(r["visual"])
        for fields in want.values():
            for key, empty in (("dam", ""), ("castrated", "0"), ("gone", [])):
                fields.setdefault(key, empty)
        self.assertEqual(got, want)
        self.good("verify")
        # the register is the same when it is taken elsewhere as CSV
        self.good("init", "--db", "b.db")
        self.good("import", "--db", "b.db", "-", stdin=self.good("export"))
        self.assertEqual(self.good("export", "--db", "b.db"), self.good("export"))


if __name__ == "__main__":
    tap.main()
