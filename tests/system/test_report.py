"""The printed report: the same figures as the findings, in a page that is whole and runs nothing."""
import csv
import io
import json
import os
import resource
import signal
import subprocess
import unicodedata
import xml.etree.ElementTree as ET

import tap
import yard

SVG = "{http://www.w3.org/2000/svg}"
HEAD = "animal,species,sex,mob,form,place,colour,official,eid,visual,applied,removed\n"
LIMIT = 40000  # bytes a file may have; what the register needs beside it is less
MEAN = "<img src=x onerror=alert(1)>\"'&"


def row(n, visual=None, mob="does", colour="yellow", applied="2024-03-01", removed=""):
    visual = f"{n:04d}" if visual is None else visual
    visual = '"' + visual.replace('"', '""') + '"'
    colour = '"' + colour.replace('"', '""') + '"'
    mob = '"' + mob.replace('"', '""') + '"'
    return (f"A{n},goat,female,{mob},flag tag,left ear,{colour},yes,{yard.code(n)},{visual},"
            f"{applied},{removed}\n")


class Report(yard.DaemonTest):
    def farm(self, rows=None, mob=None, read=(), called=(), heads=None, who="W. Field",
             closed=True, holding="Example holding", count=None):
        """One session on a farm of 40 does and 10 bucks."""
        if rows is None:
            rows = [row(n) for n in range(1, 41)]
            rows += [row(n, mob="bucks", colour="blue") for n in range(41, 51)]
        y = self.yard(None, start=False)
        y.lugmark("init", "--holding", holding)
        path = os.path.join(y.dir, "r.csv")
        with open(path, "w", encoding="utf-8") as out:
            out.write(HEAD + "".join(rows))
        y.lugmark("import", path)
        y.start()
        c = y.client()
        more = {"mob": mob} if mob else {}
        more.update({"kind": "count", "count": count} if count else {"kind": "walk"})
        self.assertTrue(c.ask("open", who=who, **more)["ok"])
        y.ports["front"].read(*(n if isinstance(n, str) else yard.code(n) for n in read))
        yard.until(lambda: (c.ask("status")["tally"] or {}).get("readings") == len(read))
        for number in called:
            self.assertTrue(c.ask("saw", number=number)["ok"])
        if heads is not None:
            self.assertTrue(c.ask("head", n=heads)["ok"])
        if closed:
            self.assertTrue(c.ask("close")["ok"])
        self.file = os.path.join(y.dir, "out")
        return y

    def busy(self):
        """Read twice, not seen, a stranger, of another mob, called by number only."""
        read = [n for n in range(1, 36)] + [1, 1, 41, 42, "999000000099999", "999999999999999"]
        return self.farm(mob="does", read=read, called=["0036", "0037"], heads=40)

    def made(self, y, *args, exit_code=1):
        done = y.lugmark("report", *args, good=False)
        self.assertEqual(done.returncode, exit_code, (args, done.stdout[:300], done.stderr))
        for bad in ("Sanitizer", "runtime error"):
            self.assertNotIn(bad, done.stderr)
        self.assertNotIn("compliant", done.stdout.lower() + done.stderr.lower())
        return done.stdout

    def page(self, y, *args, exit_code=1):
        """The page, parsed as XML: every element closed, every text escaped."""
        self.html = self.made(y, "--format", "html", *args, exit_code=exit_code)
        return ET.fromstring(self.html)

    def whole(self, page):
        """Nothing runs, nothing comes from outside; each picture says in words what it shows."""
        ids = [e.get("id") for e in page.iter() if e.get("id")]
        self.assertEqual(len(ids), len(set(ids)))
        for e in page.iter():
            name = e.tag.split("}")[-1]
            self.assertNotIn(name, ("script", "img", "link", "iframe", "object", "image", "use"))
            for key, value in e.attrib.items():
                self.assertFalse(key.startswith("on") or key.endswith(("src", "href")), (key, value))
                self.assertNotIn("style", key)
        style = page.find(".//style").text
        self.assertEqual(style.count("url("), style.count("url(#"))
        self.assertNotIn("@import", style)
        pictures = [s for s in page.iter(SVG + "svg") if s.get("role") == "img"]
        for s in pictures:
            self.assertTrue(s.find(SVG + "title").text)
            self.assertGreater(len(s.find(SVG + "desc").text), 20)
            for name in s.get("aria-labelledby").split():
                self.assertIn(name, ids)
            units = [t for t in s.iter(SVG + "text") if t.get("class") == "unit"]
            self.assertTrue(units and all(t.text for t in units))
        return {s.get("aria-labelledby").split("-")[0]: s for s in pictures}

    def found(self, y, *args):
        return json.loads(y.lugmark("findings", "1", "--json", *args, good=False).stdout)

    def test_the_figures_are_those_of_the_findings(self):
        y = self.busy()
        found = self.found(y)
        self.assertGreater(found["counts"]["missing"], 0)
        self.assertGreater(found["counts"]["unmatched"], 0)
        page = self.page(y)
        self.whole(page)
        rows = {r.get("data-kind"): int(r.find("td[@class='n']").text)
                for r in page.iter("tr") if r.get("data-kind")}
        self.assertEqual(rows, found["counts"])
        desc = page.find(f".//{SVG}desc[@id='three-d']").text
        self.assertIn(f"In the book, expected here: {found['expected']}. Heads counted: "
                      f"{found['heads']}. Animals identified: {found['identified']}, of them "
                      f"{found['present']} expected", desc)
        lead = page.find(".//p[@class='lead']").text
        low, high = found["bounds"]["absent_min"], found["bounds"]["absent_max"]
        self.assertNotEqual(low, high)
        self.assertIn(f"between {low} and {high} are truly away", lead)
        missing = page.find(".//table[@class='missing']/tbody")
        self.assertEqual([r.findall("td")[5].text for r in missing],
                         [f["animal"] for f in found["findings"] if f["kind"] == "missing"])
        first = [td.text for td in missing[0].findall("td")][:5]
        self.assertEqual(first, ["0038", "yellow", "left ear", "female", "does"])
        others = [r for t in page.findall(".//table[@class='others']") for r in t.find("tbody")]
        self.assertEqual([(r[0].text, r[2].text, r[3].text) for r in others],
                         [(f["attention"], f["animal"], " ".join(f["eid"]) or None)
                          for f in found["findings"] if f["kind"] != "missing"])

    def test_json_holds_the_findings_and_what_is_behind_the_pictures(self):
        y = self.busy()
        told = json.loads(self.made(y, "--json"))
        self.assertEqual(told["schema"], "lugmark.report/1")
        self.assertEqual(told["findings"], self.found(y))
        self.assertEqual(told["holding"], "Example holding")
        explained = json.loads(y.lugmark("explain", "1", "--json", good=False).stdout)
        self.assertTrue(explained)
        self.assertEqual(told["explanations"], explained)
        self.assertEqual(len(told["not_found"]), told["findings"]["counts"]["missing"])
        pictures = told["pictures"]
        race = pictures["race"]
        self.assertEqual(sum(sum(b.values()) for b in race["bins"]), race["past"])
        passes = pictures["readings_per_pass"]
        self.assertEqual(passes["passes"], told["findings"]["passes"])
        self.assertEqual(sum(passes["passes_by_readings"]), passes["passes"])
        self.assertEqual(race["past"] - race["called"], passes["passes"])
        estimates = json.loads(y.lugmark("estimates", "--session", "1", "--json").stdout)
        self.assertEqual([(g["read"], g["readable"]) for g in pictures["readability"]],
                         [(g["read"], g["readable"]) for g in estimates["readability"]])

    def test_csv_has_every_finding_and_runs_nothing(self):
        rows = [row(1, "=1+1"), row(2, "@SUM(A1)", mob="+mob"), row(3, 'a"b,c')]
        y = self.farm(rows, read=[yard.code(7)])
        text = self.made(y, "1", "--format", "csv")
        got = list(csv.DictReader(io.StringIO(text)))
        found = self.found(y)["findings"]
        self.assertEqual([(g["kind"], g["reason"], g["attention"], g["animal"], g["code"])
                          for g in got],
                         [(f["kind"], f["reason"], f["attention"], f["animal"] or "",
                           " ".join(f["eid"])) for f in found])
        self.assertEqual([g["number"] for g in got[:3]], ["'=1+1", "'@SUM(A1)", 'a"b,c'])
        self.assertEqual(got[1]["mob"], "'+mob")
        for cells in csv.reader(io.StringIO(text)):
            for cell in cells:
                self.assertNotIn(cell[:1], ("=", "+", "-", "@"), cells)

    def test_explanations_and_the_command_that_mends(self):
        y = self.busy()
        explained = json.loads(y.lugmark("explain", "1", "--json", good=False).stdout)
        said = self.page(y).find(".//ol[@class='said']")
        by_id = {e["id"]: e for e in explained}
        self.assertGreater(len(said), 0)
        for li in said:
            e = by_id[li.get("data-id")]
            sure = f"{100 * e['probability']:.0f} %" if e["probability"] < 0.995 else ">99 %"
            self.assertEqual(li.find(".//div[@class='sure']").text, sure)
            self.assertEqual([b.text for b in li.find(".//ul")], e["because"])
            code = li.find(".//code")
            self.assertEqual(code.text if code is not None else None, e["fix"] or None)
        likely = [e["id"] for e in explained if e["best"] or e["probability"] >= 0.2]
        ids = [f"X{int(li.get('data-id')[1:]) + k}" for li in said
               for k in range(int(li.get("data-n")))]
        self.assertEqual(ids, likely)
        text = "".join(said.itertext())
        for e in explained:
            if e["id"] in likely:
                for animal in e["animals"]:
                    self.assertIn(animal, text)

    def test_a_second_session_is_explained_as_the_command_does(self):
        """The ids are what --accept takes: earlier sessions must weigh the same in both."""
        y = self.busy()
        c = y.client()
        self.assertTrue(c.ask("open", kind="walk", mob="does")["ok"])
        y.ports["front"].read(*(yard.code(n) for n in [*range(2, 38), 98]))
        yard.until(lambda: (c.ask("status")["tally"] or {}).get("readings") == 37)
        self.assertTrue(c.ask("close")["ok"])
        explained = json.loads(y.lugmark("explain", "2", "--json", good=False).stdout)
        self.assertTrue(any("session" in b for e in explained for b in e["because"]), explained)
        self.assertEqual(json.loads(self.made(y, "2", "--json"))["explanations"], explained)
        self.assertEqual(json.loads(self.made(y, "last", "--json"))["explanations"], explained)

    def test_what_was_rejected_is_not_printed(self):
        y = self.busy()
        first = self.page(y).find(".//ol[@class='said']")[0].get("data-id")
        y.lugmark("explain", "1", "--reject", first)
        left = json.loads(y.lugmark("explain", "1", "--json", good=False).stdout)
        self.assertNotIn(first, [e["id"] for e in left])
        said = self.page(y).find(".//ol[@class='said']")
        self.assertNotIn(first, [li.get("data-id") for li in said])
        self.assertEqual(json.loads(self.made(y, "--json"))["explanations"], left)

    def test_hostile_texts_are_only_texts(self):
        rows = [row(1, MEAN, colour=MEAN, mob=MEAN), row(2, "\u202e0002\u2066"), row(3, "</svg>")]
        y = self.farm(rows, read=[yard.code(3)], called=["<script>alert(2)</script>"], who=MEAN,
                      holding=MEAN)
        page = self.page(y)
        self.whole(page)
        text = "".join(page.itertext())
        self.assertEqual(page.find(".//p[@class='holding']").text, MEAN)
        self.assertGreaterEqual(text.count(MEAN), 5)
        self.assertIn("<script>alert(2)</script>", text)
        self.assertNotIn("\u202e", self.html)
        self.assertNotIn("\u2066", self.html)
        json.loads(self.made(y, "--json"))
        self.made(y)

    def test_pictures(self):
        y = self.busy()
        pictures = self.whole(self.page(y, "--whole-history"))
        self.assertEqual(set(pictures), {"three", "race", "passes", "readable"})
        self.assertIn("none was taken off or lost", self.html)

    def test_retention_is_that_of_the_estimates(self):
        rows = [row(n, applied="2022-01-01", removed="2023-%02d-01" % (1 + n % 12) if n % 4 == 0
                    else "") for n in range(1, 61)]
        y = self.farm(rows, read=[1])
        estimates = json.loads(y.lugmark("estimates", "--whole-history", "--json").stdout)
        told = json.loads(self.made(y, "--json", "--whole-history"))
        (mine,), (other,) = told["pictures"]["retention"], estimates["retention"]
        self.assertEqual((mine["devices"], mine["ended"]), (60, 15))
        self.assertEqual((mine["devices"], mine["ended"]), (other["devices"], other["ended"]))
        for key in ("stays", "low", "high", "at_risk", "ended", "days"):
            self.assertEqual([s[key] for s in mine["steps"]], [s[key] for s in other["steps"]], key)
        self.assertIn("stays", self.whole(self.page(y, "--whole-history")))

    def test_text_fits_a_terminal(self):
        y = self.busy()
        text = self.made(y)
        for line in text.splitlines():
            width = sum(unicodedata.east_asian_width(c) in "WF" or 1 for c in line)
            self.assertTrue(width <= 80 or line.startswith("        lugmark "), line)
        found = self.found(y)
        self.assertIn(f"{found['identified']:8d}  animals identified, {found['present']} of them", text)
        for kind, n in found["counts"].items():
            self.assertRegex(text, rf"(?m)^ +{n}  \w")

    def test_nothing_flagged(self):
        y = self.farm([row(1), row(2)], read=[1, 2], heads=2)
        page = self.page(y, exit_code=0)
        self.whole(page)
        self.assertIn("Nothing else was flagged.", self.html)
        self.assertIn("Nothing to explain.", self.html)
        self.made(y, "last", exit_code=0)

    def test_an_open_session(self):
        y = self.farm([row(1), row(2)], read=[1], closed=False)
        done = y.lugmark("report", "--format", "html", good=False)
        self.assertEqual(done.returncode, 0)
        self.assertIn("still open", done.stderr)
        self.assertIn("nobody is missing yet", "".join(ET.fromstring(done.stdout).itertext()))

    def test_an_empty_session(self):
        y = self.farm([row(1)])
        self.assertEqual(set(self.whole(self.page(y))), {"three"})

    def test_without_a_session(self):
        y = self.yard(HEAD + row(1), start=False)
        self.made(y, exit_code=3)
        self.made(y, "7", exit_code=3)

    def test_wrong_use(self):
        y = self.farm([row(1)], read=[1])
        for args in (["none"], ["0"], ["1", "2"], ["--format", "pdf"], ["-o", self.file],
                     ["--json", "--format", "csv"], ["-o", self.file + ".pdf"]):
            self.assertEqual(self.made(y, *args, exit_code=2), "")
        self.assertFalse(os.path.exists(self.file))

    def test_where_it_is_written(self):
        y = self.farm([row(1), row(2)], read=[1])
        for ending, begins in ((".html", "<!DOCTYPE html>"), (".txt", "Example holding"),
                               (".json", '{"schema":"lugmark.report/1"'), (".csv", "session,kind"),
                               (".HTM", "<!DOCTYPE html>")):
            self.assertEqual(self.made(y, "-o", self.file + ending), "")
            with open(self.file + ending, encoding="utf-8") as got:
                self.assertTrue(got.read().startswith(begins), ending)
        self.assertTrue(self.made(y, "-o", "-").startswith("Example holding"))
        self.made(y, "-o", self.file + ".html", exit_code=3)
        self.made(y, "-o", self.file + ".html", "--overwrite")

    def test_what_cannot_be_written_leaves_nothing(self):
        y = self.farm([row(n) for n in range(1, 200)], read=[1])
        self.made(y, "-o", os.path.join(y.dir, "no", "such.html"), exit_code=4)
        os.mkdir(self.file + ".html")
        self.made(y, "-o", self.file + ".html", exit_code=3)
        y.stop()

        def small():
            signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
            resource.setrlimit(resource.RLIMIT_FSIZE, (LIMIT, LIMIT))

        self.made(y, "-o", self.file + ".json")
        with open(self.file + ".json", "rb") as got:
            before = got.read()
        self.assertGreater(len(before), LIMIT)
        for args in (["--json", "-o", self.file + ".new"], ["-o", self.file + ".json", "--overwrite"]):
            done = subprocess.run([yard.LUGMARK, "report", "--db", y.db, *args],
                                  capture_output=True, preexec_fn=small, check=False)
            self.assertEqual(done.returncode, 4, done.stderr)
            self.assertIn(b"cannot be written", done.stderr)
        self.assertFalse(os.path.exists(self.file + ".new"))
        with open(self.file + ".json", "rb") as got:
            self.assertEqual(got.read(), before)
        self.assertEqual([n for n in os.listdir(y.dir) if n.startswith("out.json.")], [])
        with open("/dev/full", "wb") as full:
            done = subprocess.run([yard.LUGMARK, "report", "--db", y.db, "--format", "html"],
                                  stdout=full, stderr=subprocess.PIPE, check=False)
        self.assertEqual(done.returncode, 4)

    def test_the_same_again(self):
        y = self.busy()
        one, two = (json.loads(self.made(y, "--json")) for _ in range(2))
        for told in (one, two):
            del told["made"]
        self.assertEqual(one, two)

    def count(self):
        """Two mobs counted in two sessions: one of each is not found, one code is a stranger's."""
        y = self.farm(mob="does", read=range(1, 40), heads=40, count="2025")
        c = y.client()
        self.assertTrue(c.ask("open", kind="count", count="2025", mob="bucks", who=MEAN)["ok"])
        y.ports["front"].read(*(yard.code(n) for n in [*range(41, 50), 99]))
        yard.until(lambda: (c.ask("status")["tally"] or {}).get("readings") == 10)
        self.assertTrue(c.ask("head", n=10)["ok"])
        self.assertTrue(c.ask("close")["ok"])
        return y

    def test_a_count(self):
        y = self.count()
        made = json.loads(y.lugmark("count", "2025", "--json", good=False).stdout)
        page = self.page(y, "--count", "2025")
        self.assertEqual(set(self.whole(page)), {"three", "readable"})
        desc = page.find(f".//{SVG}desc[@id='three-d']").text
        self.assertIn(f"In the book: {made['book']}. Heads counted: {made['heads']}. Animals "
                      f"identified: {made['identified']}", desc)
        flags = {r.get("data-kind"): int(r.find("td[@class='n']").text)
                 for r in page.find(".//table[@class='flags']").iter("tr")}
        for kind, n in flags.items():
            self.assertEqual(n, made["counts"][kind], kind)
        self.assertEqual((flags["not-found"], flags["stranger"]), (2, 1))
        parts = [int(r.find("td[@class='n']").text)
                 for r in page.find(".//table[@class='parts']").iter("tr")]
        self.assertEqual(parts[-1], made["heads"] - made["book"])
        self.assertEqual(sum(parts[:-1]), parts[-1])
        entries = [r for t in page.findall(".//table[@class='entries']") for r in t.find("tbody")]
        self.assertEqual([r[5].text for r in entries if r.get("data-kind") == "not-found"],
                         ["A40", "A50"])
        rows = list(csv.DictReader(io.StringIO(self.made(y, "--count", "2025", "--format", "csv"))))
        self.assertEqual([(r["kind"], r["animal"]) for r in rows],
                         [(r.get("data-kind"), r[5].text or "") for r in entries])
        self.assertEqual(json.loads(self.made(y, "--count", "2025", "--json")), made)
        self.assertEqual(self.made(y, "--count", "none", exit_code=3), "")
        self.assertEqual(self.made(y, "1", "--count", "2025", exit_code=2), "")


if __name__ == "__main__":
    tap.main()
