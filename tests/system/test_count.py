"""The yearly count, the statement and the estimates, on holdings whose truth is known."""
import csv
import datetime
import html.parser
import io
import json
import math
import sqlite3

import cli
import tap
import yard

CLI_HEAD = "animal,species,sex,castrated,born,mob,status,status_date,form,place,eid,visual,applied,removed\n"


def animal(n, mob="does", born="2023-03-10", sex="female", status="", since="", species="goat"):
    return (f"A{n},{species},{sex},,{born},{mob},{status},{since},flag tag,left ear,"
            f"{yard.code(n)},{n:04d},,\n")


def at(day, hour=8):
    """Milliseconds since 1970 of a day."""
    moment = datetime.datetime.fromisoformat(f"{day}T{hour:02d}:00:00+00:00")
    return int(moment.timestamp() * 1000)


class Counting(yard.DaemonTest):
    """Sessions are held at once and then moved to their days: a test cannot wait for December."""

    def session(self, y, days, name="2025", mob=None, read=(), called=(), heads=None, who="W",
                kind="count"):
        c = y.client()
        more = {"mob": mob} if mob else {}
        self.assertTrue(c.ask("open", kind=kind, count=name, who=who, **more)["ok"])
        want = len(read)
        y.ports["front"].read(*(n if isinstance(n, str) else yard.code(n) for n in read))
        yard.until(lambda: (c.ask("status")["tally"] or {}).get("readings") == want)
        for number in called:
            self.assertTrue(c.ask("saw", number=number)["ok"])
        if heads is not None:
            self.assertTrue(c.ask("head", n=heads)["ok"])
        self.assertTrue(c.ask("close")["ok"])
        days.append(None)

    def move(self, y, days):
        """Session number i + 1 was held on days[i]. The daemon must have ended."""
        with sqlite3.connect(y.db) as db:
            for i, day in enumerate(days):
                (opened, first, last) = db.execute(
                    "SELECT opened_ms, open_seq, close_seq FROM session WHERE id = ?",
                    (i + 1,)).fetchone()
                back = opened - at(day)
                db.execute("UPDATE session SET opened_ms = opened_ms - ?, "
                           "closed_ms = closed_ms - ? WHERE id = ?", (back, back, i + 1))
                db.execute("UPDATE event SET t_ms = t_ms - ? WHERE seq BETWEEN ? AND ? "
                           "AND kind <> 6", (back, first, last))
        db.close()

    def count(self, y, *args, exit_code=None):
        done = y.lugmark("count", *args, good=False)
        self.assertNotIn("Sanitizer", done.stderr)
        self.assertNotIn("runtime error", done.stderr)
        if exit_code is not None:
            self.assertEqual(done.returncode, exit_code, done.stdout + done.stderr)
        return done.stdout if done.returncode < 2 else done.stderr

    def kinds(self, made):
        """{kind: [animal or code]}"""
        got = {}
        for e in made["entries"]:
            who = e["animal"] or (e["eid"] or [e["text"]])[0]
            got.setdefault(e["kind"], []).append(who)
        return got

    def exact(self, made):
        """What a count promises always to be so."""
        n = made["counts"]
        unseen = n["not-found"] + n["not-due"] + n["not-covered"]
        self.assertEqual(made["book"], made["present"] + unseen)
        if made["heads"] is not None:
            self.assertEqual(made["heads"] - made["book"],
                             made["repeats"] + made["unidentified"]
                             + made["identified"] - made["present"] - unseen)

    def farm(self):
        """Does 1-10 on 1 December, bucks 11-13 on 3 December, kids 14-16 on 5 December."""
        text = CLI_HEAD + "".join(animal(n) for n in range(1, 11))
        text += "".join(animal(n, "bucks", sex="male") for n in range(11, 14))
        text += "".join(animal(n, "kids", "2025-04-01") for n in range(14, 17))
        text += animal(17, "pets")
        y = self.yard(text)
        days = []
        self.session(y, days, mob="does", read=[1, 2, 3, 4, 5, 77], called=["0006", "0006"],
                     heads=8, who="Anna")
        self.session(y, days, mob="bucks", read=[11, 12, 2, 77, 90], heads=5, who="Ben")
        self.session(y, days, mob="kids", read=[14, 15, 16], heads=3, who="Anna")
        y.stop()
        self.move(y, ["2025-12-01", "2025-12-03", "2025-12-05"])
        y.lugmark("sell", "A7", "--date", "2025-11-28")      # before its session
        y.lugmark("die", "A8", "--date", "2025-12-01")       # on the day: not missing
        y.lugmark("slaughter", "A3", "--date", "2025-12-04")  # after it was seen
        y.lugmark("sell", "A13", "--date", "2025-12-20")     # after the cut-off, but not found
        y.lugmark("sell", "A12", "--date", "2025-11")        # sold, and yet seen
        y.lugmark("buy", "--animal", "A18", "--visual", "0018", "--eid", yard.code(18), "--mob",
                  "does", "--born", "2024", "--date", "2025-12-04")  # after the does were run
        y.lugmark("buy", "--animal", "A19", "--visual", "0019", "--eid", yard.code(19), "--mob",
                  "does", "--born", "2024", "--date", "2025-12-08")  # after the cut-off
        y.lugmark("buy", "--animal", "A90", "--visual", "0090", "--eid", yard.code(90), "--mob",
                  "bucks", "--born", "2024", "--date", "2025-12-02")  # read before it was entered
        return y

    def test_a_count_over_three_sessions(self):
        y = self.farm()
        made = json.loads(self.count(y, "2025", "--json", exit_code=1))
        self.assertEqual(made["schema"], "lugmark.count/1")
        self.assertEqual(self.kinds(made), {
            "not-found": ["A9", "A10", "A13"], "stranger": [yard.code(77)],
            "seen-though-gone": ["A12"], "double": ["A2"], "unread": ["A6"],
            "not-covered": ["A17"], "not-due": ["A18"], "left-since": ["A3"],
            "left-before": ["A7", "A8"], "entered-since": ["A90"]})
        self.exact(made)
        self.assertEqual(made["cutoff"], "2025-12-05")
        # 1 2 4 5 6 9 10 11 13 14 15 16 17 18 90
        self.assertEqual(made["book"], 15)
        self.assertEqual(made["heads"], 16)
        self.assertEqual(made["identified"], 12)   # 1-6, 11, 12, 14, 15, 16, 90, and 2 once
        self.assertEqual(made["present"], 10)      # without 3 and 12
        self.assertEqual(made["repeats"], 1)
        self.assertEqual(made["unidentified"], 3)  # twice the code 77, and one more
        self.assertEqual(made["bounds"], {"absent_min": 0, "absent_max": 3})
        self.assertEqual(made["who"], ["Anna", "Ben"])
        self.assertEqual([s["heads"] for s in made["sessions"]], [8, 5, 3])
        double = [e for e in made["entries"] if e["kind"] == "double"]
        self.assertEqual(double[0]["sessions"], ["1", "2"])
        text = self.count(y, "2025", exit_code=1)
        for part in ("counted by Anna", "in the book           15", "heads counted         16",
                     "animals identified    12", "between 0 and 3 are truly away",
                     "Heads less book: +1, to be explained"):
            self.assertIn(part, text)

        stated = json.loads(y.lugmark("statement", "--from", "2025-01-01", "--to", "2025-12-31",
                                      "--count", "2025", "--json", good=False).stdout)["count"]
        self.assertEqual(stated["difference"], 1)
        self.assertEqual(stated["made_of"], {"repeats": 1, "unidentified": 3, "not_in_book": 2,
                                             "not_found": -3, "not_covered": -1, "not_due": -1})

    def test_another_cut_off_is_another_book(self):
        y = self.farm()
        made = json.loads(self.count(y, "2025", "--cutoff", "2025-12-01", "--json"))
        self.exact(made)
        # without 18 and 90, who came later; with 3, who was killed later; 8 died that day
        self.assertEqual(made["book"], 14)
        self.assertEqual(self.kinds(made)["came-after"], ["A90"])
        self.assertNotIn("left-since", self.kinds(made))
        made = json.loads(self.count(y, "2025", "--cutoff", "2025-12-31", "--json"))
        self.exact(made)
        self.assertEqual(made["book"], 15)          # 19 came, 13 left
        self.assertIn("A19", self.kinds(made)["not-due"])
        self.assertIn("A13", self.kinds(made)["left-before"])
        self.assertIn("it is a day", self.count(y, "2025", "--cutoff", "2025-12", exit_code=3))

    def test_a_closed_count_says_the_same_ever_after(self):
        y = self.farm()
        closed = self.count(y, "2025", "--close", exit_code=1)
        self.assertIn(", closed 20", closed)
        as_json = self.count(y, "2025", "--json", exit_code=1)
        y.lugmark("sell", "A1", "--date", "2025-11-01")
        y.lugmark("edit", "A2", "--status", "dead", "--status-date", "2025-11-02")
        y.lugmark("buy", "--animal", "A77", "--visual", "0077", "--eid", yard.code(77),
                  "--date", "2025-11-30")
        y.start()
        self.session(y, [], read=[1, 9, 10])
        self.assertEqual(self.count(y, "2025"), closed)
        self.assertEqual(self.count(y, "2025", "--json"), as_json)
        self.assertIn("was closed", self.count(y, "2025", "--close", exit_code=3))
        self.assertIn("was closed with the cut-off 2025-12-05",
                      self.count(y, "2025", "--cutoff", "2025-12-06", exit_code=3))
        self.assertEqual(self.count(y, "2025", "--cutoff", "2025-12-05"), closed)

    def test_a_running_count_is_not_closed(self):
        y = self.yard()
        c = y.client()
        c.ask("open", kind="count", count="2026")
        y.ports["front"].read(yard.code(1))
        yard.until(lambda: c.ask("status")["tally"]["readings"] == 1)
        self.assertIn("still open", self.count(y, "2026", exit_code=1))
        self.assertIn("lugmark close", self.count(y, "2026", "--close", exit_code=3))
        c.ask("close")
        self.count(y, "2026", "--close", exit_code=1)

    def test_names(self):
        y = self.yard()
        self.assertIn("lugmark open count", self.count(y, "2026", exit_code=3))
        self.session(y, [], name="spring", read=[1])
        self.assertIn('"spring"', self.count(y, "2026", exit_code=3))
        self.count(y, "", exit_code=2)
        self.count(y, exit_code=2)

    def test_all_well_is_exit_0(self):
        y = self.yard(CLI_HEAD + animal(1) + animal(2))
        self.session(y, [], name="x", read=[1, 2], heads=2)
        self.assertIn("Nothing flagged", self.count(y, "x", exit_code=0))

    def test_without_a_head_count_nothing_is_bounded(self):
        y = self.yard(CLI_HEAD + animal(1) + animal(2))
        self.session(y, [], name="x", read=[1])
        made = json.loads(self.count(y, "x", "--json", exit_code=1))
        self.assertIsNone(made["heads"])
        self.assertIsNone(made["difference"])
        self.assertEqual(made["bounds"], {"absent_min": 0, "absent_max": 1})
        self.assertIn("not known: 1 of 1 sessions", self.count(y, "x"))

    def test_a_taken_back_sale_never_was(self):
        y = self.yard(CLI_HEAD + animal(1) + animal(2))
        self.session(y, [], name="x", read=[1, 2], heads=2)
        y.stop()
        self.move(y, ["2025-12-01"])
        y.lugmark("sell", "A1", "--date", "2025-11-28")
        self.assertEqual(self.kinds(json.loads(self.count(y, "x", "--json")))["seen-though-gone"],
                         ["A1"])
        y.lugmark("undo", "--register")
        self.count(y, "x", exit_code=0)

    def test_estimates_in_the_count(self):
        y = self.yard()
        self.session(y, [], name="x", read=list(range(1, 31)),
                     called=[f"{n:04d}" for n in range(21, 41)])
        made = json.loads(self.count(y, "x", "--json"))["estimates"]
        (read,) = made["readability"]
        self.assertEqual((read["form"], read["place"], read["read"], read["readable"]),
                         ("flag tag", "left ear", 30, 40))
        for z, end in ((-1.959964, "low"), (1.959964, "high")):  # the root of Wilson's equation
            p = read[end]
            self.assertAlmostEqual((0.75 - p) / math.sqrt(p * (1 - p) / 40), -z, 4)
        lists = made["heads_read_and_called"]
        self.assertEqual((lists["first"], lists["second"], lists["both"]), (30, 20, 10))
        self.assertAlmostEqual(lists["chapman"], 31 * 21 / 11 - 1, 4)
        self.assertGreaterEqual(lists["low"], 40)
        self.assertIn("about 58 heads", self.count(y, "x"))

    def test_counted_one_short_is_explained_and_not_posted(self):
        text = CLI_HEAD + "".join(animal(n, born="2022-03-10") for n in range(1, 41))
        text += "".join(animal(n, "kids", "2025-03-20") for n in range(41, 72))
        y = self.yard(text)
        for n in (72, 73):
            y.lugmark("buy", "--animal", f"A{n}", "--visual", f"{n:04d}", "--eid", yard.code(n),
                      "--mob", "does", "--born", "2021-01-01", "--date", "2025-06-01")
        y.lugmark("sell", *(f"A{n}" for n in range(41, 53)), "--date", "2025-09-01")
        y.lugmark("die", "A1", "A2", "A3", "--date", "2025-02-02")
        y.lugmark("slaughter", "A4", "--date", "2025-10-10")
        self.session(y, [], name="c", read=[n for n in range(5, 74) if n not in range(41, 53)][1:],
                     heads=56)
        y.stop()
        self.move(y, ["2025-12-31"])
        args = ("--from", "2025-01-01", "--to", "2025-12-31", "--count", "c")
        done = y.lugmark("statement", *args, "--json", good=False)
        self.assertEqual(done.returncode, 1, done.stderr)
        made = json.loads(done.stdout)
        self.assertEqual(made["total"]["book"], 57)      # the book stays what it is
        self.assertEqual(made["count"]["heads"], 56)
        self.assertEqual(made["count"]["identified"], 56)
        self.assertEqual(made["count"]["difference"], -1)
        self.assertEqual({k: v for k, v in made["count"]["made_of"].items() if v},
                         {"not_found": -1})
        self.assertEqual(made["total"]["identified"], 56)
        text = y.lugmark("statement", *args, good=False).stdout
        self.assertIn("Heads less book of 2025-12-31: -1 (1.8 %), to be explained", text)
        self.assertIn("counted by W", text)
        page = Page()
        page.feed(y.lugmark("statement", *args, "--format", "html", good=False).stdout)
        self.assertEqual(page.open, [])
        self.assertIn("Heads less book of 2025-12-31: -1, to be explained", page.text)


class Lanes(yard.DaemonTest):
    def test_two_readers(self):
        y = self.yard(readers=("front", "back"))
        c = y.client()
        c.ask("open", kind="walk")
        y.ports["front"].read(*(yard.code(n) for n in range(1, 21)))
        y.ports["back"].read(*(yard.code(n) for n in range(6, 26)))
        yard.until(lambda: c.ask("status")["tally"]["readings"] == 40)
        c.ask("close")
        done = y.lugmark("estimates", "--session", "1", "--json")
        lists = json.loads(done.stdout)["heads_two_readers"]
        self.assertEqual((lists["first"], lists["second"], lists["both"]), (20, 20, 15))
        self.assertEqual(len(lists["readers"]), 2)
        self.assertEqual(lists["seen"], 25)
        text = y.lugmark("estimates").stdout
        self.assertIn("Heads from two readers: 20 by lane", text)
        self.assertIn("there is no session 7", y.lugmark("estimates", "-s", "7", good=False).stderr)


class Retention(cli.CliTest):
    def test_what_ends_a_device_and_what_only_the_watching(self):
        self.good("init")
        rows = [("lost", "", "", "2024-07-01"),            # ended after 182 days
                ("sold", "sold", "2024-10-01", ""),        # watched until it was sold
                ("cut out", "slaughtered", "2024-10-01", "2024-10-01"),  # as it left: no loss
                ("lost first", "dead", "2024-10-01", "2024-04-01"),      # ended after 91 days
                ("here", "", "", "")]
        self.write("r.csv", CLI_HEAD + "".join(
            f"{key},goat,female,,2023-01-01,,{status},{since},flag tag,left ear,{yard.code(n)},"
            f"{n},2024-01-01,{off}\n" for n, (key, status, since, off) in enumerate(rows, 1)))
        self.good("import", "r.csv")
        made = json.loads(self.good("estimates", "--whole-history", "--json"))
        (group,) = made["retention"]
        self.assertEqual((group["devices"], group["ended"]), (5, 2))
        self.assertEqual([(s["days"], s["at_risk"], round(s["stays"], 4)) for s in group["steps"]],
                         [(91, 5, .8), (182, 4, .6)])
        text = self.good("estimates", "--whole-history")
        self.assertIn("still on after 365 days: 60.0 %", text)
        made = json.loads(self.good("estimates", "--json"))
        self.assertEqual(made["left_out"]["gone_before"], 3)

    def test_pairs(self):
        self.good("init")
        rows = ""
        for n in range(1, 11):
            for k, (form, place) in enumerate((("flag tag", "left ear"), ("bolus", "rumen"))):
                off = "2025-01-01" if n > 8 and k == 0 else ""
                code = 2 * n + k
                rows += (f"A{n},goat,female,,2023-01-01,,,,{form},{place},{yard.code(code)},"
                         f"{code:04d},2024-01-01,{off}\n")
        self.write("r.csv", CLI_HEAD + rows)
        self.good("import", "r.csv")
        pairs = json.loads(self.good("estimates", "--json"))["pairs"]
        self.assertEqual((pairs["both"], pairs["one"], pairs["none"]), (8, 2, 0))
        self.assertAlmostEqual(pairs["stays"], 16 / 18, 5)


class Page(html.parser.HTMLParser):
    """Every element that is opened is closed, in order; what is text, and which elements there are."""

    EMPTY = {"meta", "br"}

    def __init__(self):
        super().__init__()
        self.open, self.text, self.tags, self.attributes = [], "", set(), []

    def handle_starttag(self, tag, attrs):
        self.tags.add(tag)
        self.attributes += attrs
        if tag not in self.EMPTY:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.tags.add(tag)
        self.attributes += attrs

    def handle_endtag(self, tag):
        assert self.open and self.open[-1] == tag, (tag, self.open)
        self.open.pop()

    def handle_data(self, data):
        self.text += data


MEAN = '<script>alert(1)</script>"\'&'


class Statement(cli.CliTest):
    def year(self, holding="Example holding"):
        """40 at the start, 31 born, 2 bought, 12 sold, 3 died, 1 killed: 57."""
        self.good("init", "--holding", holding)
        text = CLI_HEAD + "".join(animal(n, born="2022-03-10") for n in range(1, 31))
        text += "".join(animal(n, "bucks", "2024-02-01", "male") for n in range(31, 41))
        text += "".join(animal(n, "kids", "2025-03-20", "female" if n % 2 else "wether")
                        for n in range(41, 72))
        self.write("r.csv", text)
        self.good("import", "r.csv")
        for n in (72, 73):
            self.good("buy", "--animal", f"A{n}", "--visual", f"{n:04d}", "--eid", yard.code(n),
                      "--species", "goat", "--sex", "female", "--born", "2021-01-01", "--date",
                      "2025-06-01")
        self.good("sell", *(f"A{n}" for n in range(41, 53)), "--date", "2025-09-01")
        self.good("die", "A1", "A2", "A3", "--date", "2025-02-02")
        self.good("slaughter", "A31", "--date", "2025-10-10")

    def statement(self, *args, exit_code=0, span=("2025-01-01", "2025-12-31")):
        return self.good("statement", "--from", span[0], "--to", span[1], *args,
                         exit_code=exit_code)

    def test_the_year_adds_up(self):
        self.year()
        made = json.loads(self.statement("--format", "json"))
        total = made["total"]
        self.assertEqual([total[k] for k in ("opening", "births", "bought", "sold", "died",
                                             "killed-at-home", "book")],
                         [40, 31, 2, 12, 3, 1, 57])
        self.assertEqual(total["age-class"], 0)
        for c in made["classes"]:
            self.assertEqual(c["book"], c["opening"] + c["births"] + c["bought"] + c["moved-in"]
                             + c["found-again"] + c["origin-not-said"] - c["sold"] - c["died"]
                             - c["killed-at-home"] - c["moved-out"] - c["lost"] + c["age-class"], c)
        self.assertEqual(sum(c["book"] for c in made["classes"]), 57)
        grown = {(c["age"], c["sex"]): c["age-class"] for c in made["classes"]}
        # ten young bucks were kids in January; in October one was killed, a yearling; in December
        # nine are yearlings
        self.assertEqual(grown[("kid", "male")], -10)
        self.assertEqual(grown[("yearling", "male")], 10)
        self.assertIsNone(made["count"])
        self.assertEqual(made["identification"]["well"], 57)
        self.assertEqual(sum(made["identification"].values()), 57)
        text = self.statement()
        for part in ("opening                 40", "+ births                  31", "= book                    57",
                     "heads counted                        not known", "Example holding"):
            self.assertIn(part, text)

    def test_age_limits_are_settable(self):
        self.year()
        made = json.loads(self.statement("--format", "json", "--kid-months", "6",
                                         "--yearling-months", "10"))
        ages = {}
        for c in made["classes"]:
            ages[c["age"]] = ages.get(c["age"], 0) + c["book"]
        self.assertEqual(ages, {"kid": 0, "yearling": 19, "adult": 38})
        self.assertEqual(made["total"]["age-class"], 0)

    def test_a_kid_is_a_yearling_on_its_birthday(self):
        self.good("init")
        self.write("r.csv", CLI_HEAD + animal(1, born="2024-01-10"))
        self.good("import", "r.csv")
        for last, age in (("2025-01-09", "kid"), ("2025-01-10", "yearling")):
            made = json.loads(self.statement("--json", span=("2025-01-01", last)))
            self.assertEqual([c["age"] for c in made["classes"] if c["book"]], [age])

    def test_the_next_period_opens_where_this_one_ends(self):
        self.year()
        halves = [json.loads(self.statement("--json", span=s))["total"]
                  for s in (("2025-01-01", "2025-06-30"), ("2025-07-01", "2025-12-31"))]
        self.assertEqual(halves[0]["opening"], 40)
        self.assertEqual(halves[0]["book"], halves[1]["opening"])
        self.assertEqual(halves[1]["book"], 57)

    def test_csv(self):
        self.year("=cmd()")
        rows = list(csv.DictReader(io.StringIO(self.statement("--format", "csv"))))
        total = {r["item"]: r["value"] for r in rows if r["section"] == "total"}
        self.assertEqual((total["opening"], total["book"]), ("40", "57"))
        self.assertEqual([r["value"] for r in rows if r["item"] == "holding"], ["'=cmd()"])
        books = [int(r["value"]) for r in rows if r["section"] == "class" and r["item"] == "book"]
        self.assertEqual(sum(books), 57)

    def page(self, *args, exit_code=0):
        name = "page.html"
        self.statement("--format", "html", "-o", name, "--overwrite", *args, exit_code=exit_code)
        raw = self.text(name)
        page = Page()
        page.feed(raw)
        page.close()
        self.assertEqual(page.open, [])
        return raw, page

    def test_the_page_is_whole_and_nothing_in_it_runs(self):
        self.year(MEAN)
        self.good("edit", "A5", "--species", MEAN)
        raw, page = self.page()
        self.assertNotIn("<script", raw)
        self.assertEqual(page.text.count(MEAN), 1 + sum(
            c["species"] == MEAN for c in json.loads(self.statement("--json"))["classes"]))
        self.assertFalse(page.tags & {"script", "link", "img", "iframe", "object"})
        self.assertFalse([a for a, _ in page.attributes if a in ("src", "href") or a[:2] == "on"])
        for part in ("signature", "57", "@page"):
            self.assertIn(part, raw)
        self.assertIn("is there already", self.bad("statement", "--from", "2025-01-01", "--to",
                                                   "2025-12-31", "--format", "html", "-o",
                                                   "page.html"))

    def test_rough_dates_are_said(self):
        self.good("init")
        self.write("r.csv", CLI_HEAD + animal(1, born="2024") + animal(2, born="2025")
                   + animal(3, born="2023-01-01", status="sold", since="2025-12")
                   + animal(4, born="2023-01-01", status="dead", since="2025"))
        self.good("import", "r.csv")
        made = json.loads(self.statement("--json", exit_code=1,
                                         span=("2025-07-01", "2025-12-15")))
        # 2 counts as born on 1 January; 3 and 4 as gone on the last day they can have been
        self.assertEqual((made["total"]["opening"], made["total"]["book"]), (4, 4))
        notes = " ".join(made["notes"])
        self.assertIn("3 animals: a date is known only to the month or year", notes)
        text = self.statement(exit_code=1, span=("2025-07-01", "2025-12-15"))
        self.assertIn("What this statement does not know", text)

    def test_where_from_is_not_said(self):
        self.good("init")
        self.write("r.csv", CLI_HEAD + animal(1, born=""))
        self.good("import", "r.csv")
        with sqlite3.connect(self.path("register.db")) as db:  # the register began long ago
            db.execute("UPDATE event SET t_ms = ?", (at("2024-05-05"),))
        db.close()
        today = datetime.datetime.now(datetime.timezone.utc).date().isoformat()
        self.good("add", "--animal", "X", "--visual", "0900", "--eid", yard.code(900))
        made = json.loads(self.statement("--json", exit_code=1, span=("2024-01-01", today)))
        self.assertEqual(made["total"]["opening"], 1)
        self.assertEqual(made["total"]["origin-not-said"], 1)
        self.assertEqual(made["total"]["births"], 0)

    def test_lost_found_and_moved(self):
        self.good("init")
        self.write("r.csv", CLI_HEAD + "".join(animal(n) for n in range(1, 6)))
        self.good("import", "r.csv")
        self.good("lose", "A1", "A2", "--date", "2025-02-01")
        self.good("found", "A2", "--date", "2025-03-01")
        self.good("edit", "A3", "--status", "sold", "--status-date", "2025-04-01", "--why",
                  "transferred out to the hill")
        self.good("add", "--animal", "B", "--visual", "0800", "--eid", yard.code(800), "--born",
                  "2023-01-01", "--status-date", "2025-05-01", "--why", "transferred in 2025-05-01")
        total = json.loads(self.statement("--json", exit_code=1))["total"]
        self.assertEqual({k: v for k, v in total.items() if v},
                         {"opening": 5, "lost": 2, "found-again": 1, "moved-out": 1, "moved-in": 1,
                          "book": 4})

    def test_lost_marks_as_an_inspector_counts_them(self):
        self.good("init")
        head = "animal,born,form,place,official,eid,visual,applied,removed\n"
        rows = [
            ("well", "flag tag", "left ear", "yes", 1, "", ""),
            ("well", "bolus", "rumen", "yes", 2, "", ""),
            ("one", "flag tag", "left ear", "yes", 3, "", "2025-03-01"),
            ("one", "bolus", "rumen", "yes", 4, "", ""),
            ("electronic", "flag tag", "left ear", "yes", 0, "", ""),
            ("electronic", "bolus", "rumen", "yes", 6, "", "2025-03-01"),
            ("all", "flag tag", "left ear", "yes", 7, "", "2025-03-01"),
            ("again", "flag tag", "left ear", "yes", 8, "2023-05-01", "2025-03-01"),
            ("again", "flag tag", "left ear", "yes", 9, "2025-03-02", ""),
            ("later", "flag tag", "left ear", "yes", 10, "", "2026-01-05"),
            ("farm", "leg band", "leg", "no", 0, "", "2025-03-01"),
            ("farm", "flag tag", "left ear", "yes", 12, "", ""),
        ]
        text = head + "".join(
            f"{a},2023-01-01,{f},{p},{o},{yard.code(e) if e else ''},{a}-{i},{on},{off}\n"
            for i, (a, f, p, o, e, on, off) in enumerate(rows))
        text = text.replace("removed\n", "removed,replaces\n", 1).replace(
            "\n", ",\n").replace("replaces,\n", "replaces\n", 1)
        text += (f"by name,2023-01-01,flag tag,left ear,yes,{yard.code(20)},n-1,,2025-03-01,\n"
                 f"by name,2023-01-01,loop tag,right ear,yes,{yard.code(21)},n-2,,,1\n")
        self.write("r.csv", text + "never,2023-01-01,,,,,,,,\n")
        self.good("import", "r.csv")
        made = json.loads(self.statement("--json", exit_code=1))
        self.assertEqual(made["identification"], {"well": 5, "one-lost": 1, "electronic-lost": 1,
                                                  "all-lost": 1, "never-marked": 1})

    def test_wrong_use(self):
        self.good("init")
        self.bad("statement", exit_code=2)
        self.bad("statement", "--from", "2025-01-01", exit_code=2)
        self.bad("statement", "--from", "2025-01", "--to", "2025-12-31")
        self.bad("statement", "--from", "2026-01-01", "--to", "2025-12-31")
        span = ("--from", "2025-01-01", "--to", "2025-12-31")
        self.bad("statement", *span, "--format", "pdf", exit_code=2)
        self.bad("statement", *span, "--kid-months", "30", exit_code=2)
        self.bad("statement", *span, "--count", "none")
        self.good("statement", *span)


if __name__ == "__main__":
    tap.main()
