"""A register taken along on another machine, used there, and brought back."""
import json
import os
import stat

import cli
import tap

FLOCK = ("animal,species,mob,eid,visual\n"
         "A1,goat,does,999000000000001,0001\n"
         "A2,goat,does,999000000000002,0002\n"
         "A3,goat,bucks,,0003\n")
STOCK = ("strip,position,eid,visual,form,colour,official,received\n"
         "S,1,999000000000011,0011,flag tag,yellow,yes,2026-02\n"
         "S,2,999000000000012,0012,flag tag,yellow,yes,2026-02\n")


class Bundle(cli.CliTest):
    """`home` is where the register began, `away` the laptop."""

    def setUp(self):
        super().setUp()
        self.home("init", "--holding", "Example holding")
        self.write("flock.csv", FLOCK)
        self.write("stock.csv", STOCK)
        self.home("import", "flock.csv")
        self.home("stock", "import", "stock.csv")

    def at(self, where, *args, exit_code=0, **more):
        done = self.run_(*args, env={"LUGMARK_DB": self.path(where + ".db")}, **more)
        self.assertEqual(done.returncode, exit_code, (args, done.stdout, done.stderr))
        return done.stdout if exit_code == 0 else done.stdout + done.stderr

    def home(self, *args, **more):
        return self.at("home", *args, **more)

    def away(self, *args, **more):
        return self.at("away", *args, **more)

    def take(self, where, name="b.ndjson"):
        self.at(where, "export", "--bundle", name, "--overwrite")
        return name

    def carry(self, source, target, *more, **how):
        """A bundle from one machine to the other. What uniting said."""
        return self.at(target, "import", "--bundle", self.take(source), *more, **how)

    def begin_away(self):
        self.away("init")
        self.carry("home", "away")

    def rows(self, where):
        return sorted(self.at(where, "export").splitlines())

    def same(self):
        self.assertEqual(self.rows("home"), self.rows("away"))
        events = [{json.loads(line).get("is") for line in self.text(self.take(where)).splitlines()}
                  for where in ("home", "away")]
        self.assertEqual(*events)
        for where in ("home", "away"):
            self.at(where, "verify")

    def tag(self, where, key, eid):
        """Put one more device on an animal: its rows as they are, and a new one."""
        text = self.at(where, "export")
        head = text.splitlines()[0].split(",")
        row = [key if name == "animal" else eid if name == "eid" else "" for name in head]
        self.write("more.csv", text + ",".join(row) + "\r\n")
        self.at(where, "import", "more.csv")

    def animal(self, where, key):
        return json.loads(self.at(where, "show", key, "--json"))

    def test_there_and_back(self):
        self.begin_away()
        self.same()
        self.assertEqual(len(self.away("stock", "show", "S").splitlines()), 2)
        self.assertEqual(json.loads(self.text("b.ndjson").splitlines()[0])["schema"],
                         "lugmark.bundle/1")
        self.away("edit", "A1", "--mob", "yearlings")
        self.tag("away", "A3", "999000000000003")
        self.away("add", "--animal", "B1", "--visual", "0011", "--eid", "999000000000011")
        out = self.carry("away", "home")
        self.assertIn("3 events, 3 animals", out)
        self.same()
        self.assertEqual(self.animal("home", "A1")["mob"], "yearlings")
        self.assertIn("nothing is new", self.carry("away", "home"))
        self.assertIn("nothing is new", self.carry("home", "away"))
        self.same()

    def test_both_sides_without_contradiction(self):
        self.begin_away()
        self.home("edit", "A1", "--mob", "sale")
        self.home("add", "--animal", "H1", "--visual", "H1")
        self.away("edit", "A2", "--mob", "show")
        self.tag("away", "A2", "999000000000022")
        self.away("add", "--animal", "W1", "--eid", "999000000000031")
        self.carry("away", "home")
        self.carry("home", "away")
        self.same()
        self.assertEqual(self.animal("away", "A1")["mob"], "sale")
        self.assertEqual(self.animal("home", "A2")["mob"], "show")
        # Devices that were given rows on both machines stay those of their animals.
        self.away("edit", "W1", "--mob", "x")
        self.home("edit", "H1", "--mob", "y")
        self.tag("home", "A2", "999000000000023")
        self.carry("home", "away")
        self.carry("away", "home")
        self.same()
        self.assertEqual(len(self.animal("away", "A2")["devices"]), 3)

    def test_contradiction_is_shown_and_decided(self):
        for keep in ("ours", "theirs"):
            with self.subTest(keep=keep):
                for name in os.listdir(self.dir):
                    if name.startswith(("home.db", "away.db")):
                        os.unlink(self.path(name))
                self.home("init")
                self.home("import", "flock.csv")
                self.begin_away()
                self.home("edit", "A1", "--mob", "ours")
                self.tag("home", "A1", "999000000000041")
                self.away("edit", "A1", "--mob", "theirs")
                self.tag("away", "A1", "999000000000042")
                before = self.rows("home")
                said = self.carry("away", "home", exit_code=1)
                self.assertIn("animal A1 was changed here and there; not decided", said)
                self.assertIn("theirs", said)
                self.assertEqual(self.rows("home"), before)
                self.carry("away", "home", "--dry-run", "--keep", keep)
                self.assertEqual(self.rows("home"), before)
                self.carry("away", "home", "--keep", keep)
                got = self.animal("home", "A1")
                self.assertEqual(got["mob"], keep)
                worn = {d["eid"]: not d.get("gone", "removed" in d) for d in got["devices"]}
                self.assertEqual(worn["999000000000041"], keep == "ours")
                self.assertEqual(worn["999000000000042"], keep == "theirs")
                self.carry("home", "away")
                self.same()
                self.assertIn("nothing is new", self.carry("away", "home"))

    def test_same_change_on_both_sides_is_none(self):
        self.begin_away()
        for where in ("home", "away"):
            self.tag(where, "A1", "999000000000041")
        self.carry("away", "home")
        self.carry("home", "away")
        self.same()
        self.assertEqual(len(self.animal("home", "A1")["devices"]), 2)

    def test_decisions_one_by_one(self):
        self.begin_away()
        for key in ("A1", "A2"):
            self.home("edit", key, "--mob", "ours")
            self.away("edit", key, "--mob", "theirs")
        self.write("d.txt", "# at the kitchen table\nanimal A1 theirs\n\nanimal A2 ours\n")
        self.write("half.txt", "animal A1 theirs\n")
        self.carry("away", "home", "--decide", "half.txt", exit_code=1)
        self.assertEqual(self.animal("home", "A1")["mob"], "ours")
        out = json.loads(self.carry("away", "home", "--decide", "d.txt", "--json"))
        self.assertEqual([(c["animal"], c["kept"]) for c in out["clashes"]],
                         [("A1", "theirs"), ("A2", "ours")])
        self.assertEqual(self.animal("home", "A1")["mob"], "theirs")
        self.assertEqual(self.animal("home", "A2")["mob"], "ours")
        self.carry("home", "away")
        self.same()
        self.write("bad.txt", "animal A1 mine\n")
        self.assertIn("bad.txt:1:", self.carry("away", "home", "--decide", "bad.txt", exit_code=3))

    def test_one_code_on_two_animals(self):
        for keep, winner in (("ours", "H1"), ("theirs", "W1")):
            with self.subTest(keep=keep):
                code = "99900000000005" + str(len(winner + keep) % 10)
                if keep == "ours":
                    self.begin_away()
                h, w = "H1" + keep, "W1" + keep
                self.home("add", "--animal", h, "--eid", code)
                self.away("add", "--animal", w, "--eid", code)
                said = self.carry("away", "home", exit_code=1)
                self.assertIn(f"code {code} is worn by {h} here and by {w} there", said)
                self.write("d.txt", f"code {code} {keep}\n")
                self.carry("away", "home", "--decide", "d.txt")
                worn = {key: not self.animal("home", key)["devices"][0].get("gone", False)
                        for key in (h, w)}
                self.assertEqual(worn, {h: winner == "H1", w: winner == "W1"})
                self.carry("home", "away")
                self.same()

    def test_old_state_stays_in_the_history(self):
        self.begin_away()
        self.home("edit", "A1", "--mob", "first")
        self.away("edit", "A1", "--mob", "second")
        self.carry("away", "home", "--keep", "ours")
        mobs = [json.loads(line)["event"].get("register", {}).get("mob")
                for line in self.text(self.take("home")).splitlines()[1:] if '"is"' in line
                and '"A1"' in line]
        self.assertEqual(mobs, ["does", "first", "second", "first"])

    def test_file(self):
        self.take("home")
        self.assertEqual(stat.S_IMODE(os.stat(self.path("b.ndjson")).st_mode), 0o600)
        self.assertIn("is there already",
                      self.home("export", "--bundle", "b.ndjson", exit_code=3))
        os.symlink("b.ndjson", self.path("link"))
        self.assertIn("no ordinary file", self.home("export", "--bundle", "link", "--overwrite",
                                                    exit_code=3))
        self.home("export", "--bundle", "b.ndjson", "--format", "csv", exit_code=2)
        self.home("import", "b.ndjson", "--keep", "ours", exit_code=2)
        self.home("import", "--bundle", "b.ndjson", "--keep", "mine", exit_code=2)
        self.home("import", "--bundle", "none", exit_code=3)
        self.assertEqual(self.home("export", "--bundle", "-"), self.text("b.ndjson"))

    def test_damaged_in_every_line(self):
        self.away("init")
        lines = self.text(self.take("home")).splitlines(keepends=True)
        for n in range(len(lines)):
            said = self.away("import", "--bundle", "-", stdin="".join(lines[:n]), exit_code=3)
            self.assertTrue("cut off" in said or "not a bundle" in said, said)
            self.away("import", "--bundle", "-", stdin="".join(lines[:n]) + lines[n][:-1],
                      exit_code=3)
            changed = lines[:]
            changed[n] = lines[n].replace("0", "1", 1) if "0" in lines[n] else "{}\n"
            self.away("import", "--bundle", "-", stdin="".join(changed), exit_code=3)
            self.away("import", "--bundle", "-", stdin="".join(lines[:n] + lines[n + 1:]),
                      exit_code=3)
        self.away("import", "--bundle", "-", stdin="".join(lines) + lines[1], exit_code=3)
        self.assertEqual(self.rows("away"), [self.rows("away")[0]])
        self.away("import", "--bundle", "-", stdin="".join(lines))
        self.same()

    @staticmethod
    def sealed(lines):
        """The text with a last line whose counts and checksum are right."""
        body = [json.dumps(line) for line in lines]
        text = "".join(line + "\n" for line in body)
        total = 0xcbf29ce484222325
        for byte in text.encode():
            total = (total ^ byte) * 0x100000001b3 % 2**64
        count = {key: sum(name in line for line in lines)
                 for key, name in (("settings", "setting"), ("stock", "stock"), ("events", "is"))}
        return text + json.dumps({"end": True, **count, "sum": f"{total:016x}"}) + "\n"

    def test_forged_with_a_right_checksum(self):
        self.away("init")
        good = [json.loads(line) for line in self.text(self.take("home")).splitlines()[:-1]]
        first = next(i for i, line in enumerate(good) if "is" in line)

        def changed(i, change):
            lines = json.loads(json.dumps(good))
            change(lines[i])
            return self.sealed(lines)

        def entry(line):
            return line["event"]["register"]

        forged = [
            changed(first, lambda x: x.update(undoes=good[0]["copy"] + ":99")),
            changed(first, lambda x: x.update(part=x["is"][:-1] + "9")),
            changed(first, lambda x: x.update({"is": "x" * 40})),
            changed(first, lambda x: x.update({"is": good[first + 1]["is"]})),
            changed(first, lambda x: x.update(event={"close": True})),
            changed(first, lambda x: x.update(event=7)),
            changed(first, lambda x: x.update(why="a\nb")),
            changed(first, lambda x: entry(x).update(animal="k" * 80)),
            changed(first, lambda x: entry(x).update(animal="a\u0007")),
            changed(first, lambda x: entry(x).pop("animal")),
            changed(first, lambda x: entry(x)["devices"][0].update(eid="999999999999999")),
            changed(first, lambda x: entry(x).update(
                devices=entry(x)["devices"] * 60)),
            changed(first - 1, lambda x: x["stock"].update(position=0)),
            changed(first - 1, lambda x: x["stock"].update(position=7)),
            changed(first - 1, lambda x: x["stock"].update(strip="")),
            changed(first - 1, lambda x: x["stock"].update(eid="12")),
            changed(first - 1, lambda x: x["stock"].pop("visual")),
            changed(1, lambda x: x.update(setting="id.copy")),
            changed(1, lambda x: x.update(value="a\u0001")),
            changed(0, lambda x: x.update(register="short")),
        ]
        empty = self.rows("away")
        for n, text in enumerate(forged):
            done = self.run_("import", "--bundle", "-", stdin=text,
                             env={"LUGMARK_DB": self.path("away.db")})
            self.assertEqual(done.returncode, 3, (n, done.stdout, done.stderr))
            self.assertEqual(self.rows("away"), empty, n)
        self.away("import", "--bundle", "-", stdin=self.sealed(good))
        self.same()

    def test_foreign_and_newer(self):
        self.away("init")
        self.away("add", "--visual", "1")
        self.assertIn("another register", self.carry("home", "away", exit_code=3))
        text = self.text("b.ndjson")
        for old, new in (("bundle/1", "bundle/2"), ('"tables":', '"tables":9')):
            said = self.home("import", "--bundle", "-", stdin=text.replace(old, new, 1),
                             exit_code=3)
            self.assertIn("newer version", said)
        self.assertIn("not a bundle", self.home("import", "--bundle", "flock.csv", exit_code=3))

    def test_copied_file_is_told(self):
        self.home("backup", "away.db")
        self.home("edit", "A1", "--mob", "x")
        self.away("edit", "A2", "--mob", "y")
        self.assertIn("copying the file", self.carry("away", "home", exit_code=3))

    def test_set_back_to_a_backup(self):
        self.begin_away()
        self.home("backup", "old.db")
        self.home("edit", "A1", "--mob", "x")
        self.carry("home", "away")
        for name in os.listdir(self.dir):
            if name.startswith("home.db"):
                os.unlink(self.path(name))
        os.rename(self.path("old.db"), self.path("home.db"))
        self.carry("away", "home")
        self.assertEqual(self.animal("home", "A1")["mob"], "x")
        self.home("edit", "A2", "--mob", "z")
        self.carry("home", "away")
        self.same()

    def merged_here(self, gone, keep):
        """A1 takes over another entry here, which is changed there."""
        self.begin_away()
        self.home("merge", "A1", gone)
        self.away("edit", gone, "--mob", "hill")
        said = self.carry("away", "home", exit_code=1)
        self.assertIn(f"animal {gone} was changed here and there", said)
        self.assertIn("merged into A1", said)
        self.carry("away", "home", "--keep", keep)
        self.carry("home", "away")
        self.same()
        self.assertEqual(len(self.animal("home", "A1")["devices"]), 2 if keep == "ours" else 1)
        if keep == "ours":
            self.home("show", gone, exit_code=3)
        else:
            self.assertEqual(self.animal("home", gone)["mob"], "hill")
            self.assertFalse(self.animal("home", gone)["devices"][0].get("gone"))

    def test_merged_here_and_changed_there_ours(self):
        self.merged_here("A2", "ours")

    def test_merged_here_and_changed_there_theirs(self):
        self.merged_here("A2", "theirs")

    def test_merged_here_without_a_code_ours(self):
        self.merged_here("A3", "ours")

    def test_merged_here_without_a_code_theirs(self):
        self.merged_here("A3", "theirs")

    def merged_there(self, gone, keep):
        self.begin_away()
        self.away("merge", "A1", gone)
        self.home("edit", gone, "--mob", "hill")
        self.carry("away", "home", "--keep", keep)
        self.carry("home", "away")
        self.same()
        self.assertEqual(len(self.animal("home", "A1")["devices"]), 1 if keep == "ours" else 2)

    def test_merged_there_and_changed_here_ours(self):
        self.merged_there("A2", "ours")

    def test_merged_there_and_changed_here_theirs(self):
        self.merged_there("A3", "theirs")

    def test_merged_there_without_a_code_ours(self):
        self.merged_there("A3", "ours")

    def test_taken_back_here_and_changed_there(self):
        self.home("add", "--animal", "B1", "--visual", "0031")
        self.begin_away()
        self.home("undo", "--register")
        self.away("edit", "B1", "--mob", "hill")
        self.assertIn("animal B1 was changed here and there",
                      self.carry("away", "home", exit_code=1))
        self.carry("away", "home", "--keep", "ours")
        self.home("show", "B1", exit_code=3)
        self.carry("home", "away")
        self.same()

    def test_settings_and_stock(self):
        self.begin_away()
        self.write("more.csv", STOCK.splitlines()[0] + "\nS,3,,0013,,,,\nT,1,,T1,,,,\n")
        self.away("stock", "import", "more.csv")
        self.assertIn("2 devices of the stock", self.carry("away", "home"))
        self.assertEqual(self.home("stock", "show", "S"), self.away("stock", "show", "S"))
        self.write("h.csv", STOCK.splitlines()[0] + "\nU,1,,U1,,,,\n")
        self.write("w.csv", STOCK.splitlines()[0] + "\nU,1,,U9,,,,\n")
        self.home("stock", "import", "h.csv")
        self.away("stock", "import", "w.csv")
        self.assertIn("strip U has another device at position 1",
                      self.carry("away", "home", exit_code=3))


if __name__ == "__main__":
    tap.main()
