"""Every screen that a keeper sees, in German: no sentence of it stays English, nothing of it glues."""
import html
import json
import os
import re
import subprocess

import tap
import web
import yard

ROOT = os.path.dirname(os.path.dirname(os.path.dirname(os.path.abspath(__file__))))
PACKS = os.path.join(ROOT, "src/cli/packs")
os.environ["LUGMARK_PACKS"] = PACKS
GERMAN = {"LC_ALL": "C.UTF-8", "LANGUAGE": "de"}
# Words that every second English sentence has, and no German one, no name and no command.
ENGLISH = re.compile(r"\b(the|of|and|were|with|are|that|which|from|been|its|their|this|not|is|has|"
                     r"have|nobody|animals?|heads|codes? (?:is|was)|number|seen|read|called|said|"
                     r"expected|devices?|register)\b")
# What is not the screens' own: commands to copy, what the register holds, the reasons in a history.
OTHERS = re.compile(r"\S*/\S+|lugmark(?: [a-z-]+)?(?: \d+)?(?: (?:-[a-z-]+|[A-Z]+|X\d+|'[^']*'))*|--[a-z-]+|"
                    r"\[[a-z ]+\]|register\.csv|stick\.csv|[a-z]+-[a-z-]+|"
                    r"\b(?:retagged|sold|died|explanation X\d+ of session)\b.*")
HEAD = ("animal,species,sex,born,mob,status,form,place,colour,official,eid,visual,applied\n")


def entry(n, mob="does", born="2023-03-01", eid=None, visual=None, applied="2023-04"):
    return (f"A{n},goat,female,{born},{mob},on-farm,flag tag,left ear,yellow,yes,"
            f"{yard.code(n) if eid is None else eid},{visual or f'{n:04d}'},{applied}\n")


def sentences():
    """Literal pieces of four words and more, of every text that has other words in German."""
    with open(os.path.join(ROOT, "src/report/po/de.po"), encoding="utf-8") as file:
        blocks = file.read().split("\n\n")
    pieces = set()
    for block in blocks:
        ids = [m for m in re.findall(r'^msgid(?:_plural)? ((?:"(?:[^"\\]|\\.)*"\n?)+)', block, flags=re.M)]
        said = re.findall(r'^msgstr(?:\[\d\])? ((?:"(?:[^"\\]|\\.)*"\n?)+)', block + "\n", flags=re.M)
        whole = ["".join(json.loads(x) for x in re.findall(r'"(?:[^"\\]|\\.)*"', t)) for t in ids + said]
        for text in whole[:len(ids)]:
            if text in whole[len(ids):]:
                continue  # the same in both
            for piece in re.split(r"%%|%[-+0-9.*]*(?:l|ll|z)?[a-zA-Z]|\{\d\}|\n", text):
                piece = " ".join(piece.split())
                kept = any(piece in " ".join(said.split()) for said in whole[len(ids):])  # a command
                if len(re.findall(r"[a-z]{2,}", piece)) >= 4 and not kept:
                    pieces.add(piece)
    return pieces


def plain(page):
    """What a page shows, without its elements and style."""
    return html.unescape(re.sub(r"<[^>]+>", " ", re.sub(r"<style>.*?</style>", "", page, flags=re.S)))


class Screens(yard.DaemonTest):
    def setUp(self):
        self.y = self.yard(None, start=False)
        self.env = dict(os.environ, LUGMARK_DB=self.y.db, LUGMARK_SOCKET=self.y.socket, TZ="UTC",
                        LUGMARK_PACKS=PACKS, TERM="xterm")
        for name in ("LANGUAGE", "LC_ALL", "LC_MESSAGES", "LANG"):
            self.env.pop(name, None)
        self.faults = []
        self.pieces = sentences()
        self.assertGreater(len(self.pieces), 400)

    def lm(self, *args, codes=(0, 1), env=GERMAN):
        done = subprocess.run([yard.LUGMARK, *args], env=dict(self.env, **env), cwd=self.y.dir,
                              text=True, stdin=subprocess.DEVNULL, capture_output=True, timeout=60,
                              check=False)
        self.assertIn(done.returncode, codes, (args, done.stdout, done.stderr))
        self.assertNotIn("Sanitizer", done.stderr)
        return done.stdout, done.stderr

    def german(self, text, what, *parts):
        """Of a screen: not a sentence of it is English; these parts are on it."""
        flat = " ".join(text.split())
        self.faults += [(what, "English", p) for p in self.pieces if p in flat]
        self.faults += [(what, "English", line) for line in text.splitlines()
                        if ENGLISH.search(OTHERS.sub("", line))]
        self.faults += [(what, "not there", p) for p in parts if p not in flat]

    def all_german(self):
        self.assertEqual(self.faults, [], "\n".join(map(str, self.faults)))

    def screen(self, args, *parts, codes=(0, 1)):
        out, err = self.lm(*args, codes=codes)
        self.german(out + err, args, *parts)
        return out

    def farm(self):
        rows = [entry(n) for n in range(1, 31)] + [entry(n, "bucks") for n in range(31, 35)]
        rows += [entry(40, born="2026-02", visual="0001"), entry(41, eid="", visual="4100")]
        with open(os.path.join(self.y.dir, "r.csv"), "w", encoding="utf-8") as out:
            out.write(HEAD + "".join(rows))
        with open(os.path.join(self.y.dir, "stock.csv"), "w", encoding="utf-8") as out:
            out.write("strip,position,eid,visual,form,colour,official\n"
                      + "".join(f"S1,{i},{yard.code(500 + i)},{500 + i:04d},flag tag,yellow,yes\n"
                                for i in range(1, 11)))
        self.screen(("init", "--holding", "Hof"), "Ein neues Register liegt in")
        self.screen(("import", "r.csv"), "36 Tiere, 36 Kennzeichen")
        self.screen(("stock", "import", "stock.csv"))
        self.y.start()

    def session(self, *more):
        c = self.y.client()
        self.assertTrue(c.ask("open", who="Ada", mob="does", **dict(more))["ok"])
        read = [yard.code(n) for n in range(1, 25)] + [yard.code(501), yard.code(31), yard.code(1),
                                                       "999000000077777", "840000000000001"]
        for n, one in enumerate(read):
            self.y.ports["front"].read(one)
            yard.until(lambda n=n: c.ask("status")["tally"]["readings"] > n)
            if n in (4, 9):  # two that are called as each other
                c.ask("saw", number="0010" if n == 4 else "0005", on_last=True)
            if n == 24:  # a new device with its number
                c.ask("saw", number="0025", on_last=True)
        for number in ("0026", "0072", "6200"):
            c.ask("saw", number=number)
        c.ask("head", n=29)
        self.assertTrue(c.ask("close")["ok"])
        c.close()

    def test_every_screen(self):
        self.farm()
        self.session(("kind", "count"), ("count", "2026"))
        self.session(("kind", "count"), ("count", "2026"))
        self.screen(("findings", "1"), "Nicht gesehen ist nicht fort")
        told = self.screen(("explain", "2"), "Was höchstwahrscheinlich")
        self.screen(("explain", "1"), "dagegen spricht: ")
        self.screen(("report", "2"), "Was höchstwahrscheinlich geschehen ist", "Hof")
        page, _ = self.lm("report", "2", "--format", "html")
        self.assertIn('<html lang="de">', page)
        self.german(plain(page), "report html", "Der Treibgang in Bildern", "Ort und Tag")
        self.screen(("count", "2026"), "Köpfe weniger Buch", "Tiere erkannt")
        self.screen(("count", "--list"), "2026: 2 Läufe")
        page, _ = self.lm("report", "--count", "2026", "--format", "html")
        self.german(plain(page), "count html", "Was aufgeführt ist", "Die Läufe")
        period = ("statement", "--from", "2026-01-01", "--to", "2026-12-31")
        self.screen(period, "Es wurde keine Zählung genannt", "Anfangsbestand")
        self.screen((*period, "--count", "2026"), "Kitze und Lämmer", "- ")
        page, _ = self.lm(*period, "--count", "2026", "--format", "html")
        self.german(plain(page), "statement html", "Bewegungen nach Klasse", "Halter, Unterschrift")
        self.screen(("estimates",), "Sie sind keine Zählung")
        self.screen(("find", "0001"), "im Bestand", "weiblich", "linkes Ohr")
        self.screen(("show", "A1"), "geboren", "Fahnenohrmarke", "angebracht")
        self.screen(("status",))
        self.screen(("readers",), "Treibgang 1")
        number = next(m[1] for m in re.finditer(r"X(\d+) .*trägt ein neues Kennzeichen", told))
        self.screen(("explain", "2", "--accept", f"X{number}"), "angenommen")
        self.screen(("undo", "--register"), "die letzte Änderung", "wieder wie vorher")
        self.screen(("explain", "2", "--reject", "X1"), "es wird nicht wieder angeboten")
        self.screen(("verify",), "Das Register ist heil")
        self.all_german()

    def test_tagging_and_the_comings_and_goings(self):
        self.farm()
        self.screen(("tag", "--strip", "S1", "--dam", "A1", "--sex", "female", "--born",
                     "2020-01-01", "--mob", "kids"), "Vor der ersten Ohrmarke des Tages",
                    "Warnung: es ist", "nichts wurde geschrieben")
        self.screen(("tag", "--visual", "0501", "--eid", yard.code(509), "--dam", "A99", "--sex",
                     "female"), "die Lieferliste hat den Code", "seine Mutter")
        self.screen(("retag", "A3", "--reason", "torn", "--strip", "S1"), "A3:", "war yellow")
        self.screen(("retag", "A4", "--reason", "lost", "--visual", "0005"), "trägt die Nummer")
        self.screen(("sell", "A6", "A7"), "verkauft")
        self.screen(("show", "A3", "--history"), "Kennzeichen")
        self.screen(("undo", "--register", "--dry-run"), "das würde zurückgenommen")
        self.all_german()

    def test_a_sale(self):
        self.farm()
        self.lm("sell", "A6")
        with open(os.path.join(self.y.dir, "lot.txt"), "w", encoding="utf-8") as out:
            out.write("A1\nA2\nA6\nA40\nA41\n")
        self.screen(("sale-check", "lot.txt"), "Verkaufsprüfung der Partie", "HALT", "LOS",
                    "Vor dem Verladen:", "ein anderes lebendes Tier hat dieselbe Nummer")
        self.screen(("sale-check", "lot.txt", "--list", "text"), "Geschlecht", "18 Monate oder mehr")
        self.screen(("sale-check", "--explain-rule", "GEN-02"), "Keine zwei lebenden Tiere")
        self.all_german()

    def test_help(self):
        out, _ = self.lm("--help")
        self.german(out, "--help", "Aufruf: lugmark BEFEHL", "Am Treibgang:", "Ein erster Versuch:")
        self.all_german()

    def test_machine_forms_stay_english_unless_they_are_asked(self):
        self.farm()
        self.session(("kind", "count"), ("count", "2026"))
        period = ("statement", "--from", "2026-01-01", "--to", "2026-12-31", "--json")
        with open(os.path.join(self.y.dir, "lot.txt"), "w", encoding="utf-8") as out:
            out.write("A1\nA40\n")
        for args in (("explain", "1", "--json"), period, ("sale-check", "lot.txt", "--json"),
                     ("count", "2026", "--json"), ("estimates", "--json"),
                     ("report", "1", "--format", "csv"), (*period[:-1], "--format", "csv"),
                     ("sale-check", "lot.txt", "--list", "csv"), ("show", "A1", "--json"),
                     ("reconcile", "--register", "r.csv", "--readings", os.devnull, "--explain",
                      "--json")):
            english, german = self.lm(*args, env={})[0], self.lm(*args)[0]
            self.assertEqual(english, german, args)
            again = self.lm(*args, "--lang", "en")[0]
            self.assertEqual(english, again, args)
        for args, key in ((("explain", "1", "--json"), "because"), (period, "notes"),
                          (("sale-check", "lot.txt", "--json"), "why")):
            english = self.lm(*args, env={})[0]
            asked = self.lm(*args, "--lang", "de", env={})[0]
            words = json.dumps(json.loads(asked), ensure_ascii=False)
            self.assertNotEqual(english, asked)
            self.assertEqual(re.sub(f'"{key}": (\\[[^]]*\\]|"[^"]*")', "", words).count("speaks"), 0)
            # Only words for people differ: with them taken out both are the same.
            bare = [re.sub(rf'"(because|notes)": \[[^]]*\]|"(why|text|todo|do|citation|name|'
                           rf'authority|say|decides)": ("[^"]*"|null)', "", json.dumps(json.loads(t)))
                    for t in (english, asked)]
            self.assertEqual(*bare)
        self.german("\n".join(sum((e["because"] for e in json.loads(
            self.lm("explain", "1", "--json", "--lang", "de", env={})[0])), [])), "because")
        _, said = self.lm("status", "--lang", "xx", codes=(2,))
        self.assertIn("--lang xx", said)
        self.all_german()

    def test_the_checks_see_what_they_must_see(self):
        for bad in ("  speaks against it: the code is not in the supply list",
                    "3 Tiere, identified in the book", "Köpfe of 3"):
            self.german(bad, "bad")
            self.assertNotEqual(self.faults, [], bad)
            self.faults.clear()
        self.german("dagegen spricht: weder wurde der Code gelesen", "good", "nowhere")
        self.assertEqual(self.faults, [("good", "not there", "nowhere")])
        self.faults.clear()
        self.german("dagegen spricht: weder wurde der Code gelesen", "good")
        self.all_german()


class Page(web.PageTest):
    def test_views_in_the_language_of_the_page(self):
        y = self.page()
        c = y.client()
        self.assertTrue(c.ask("open", kind="walk", mob="does")["ok"])
        y.ports["front"].read(yard.code(2), "999000000077777")
        yard.until(lambda: c.ask("status")["tally"]["readings"] == 2)
        self.assertTrue(c.ask("close")["ok"])
        c.close()
        period = "/api/statement?from=2026-01-01&to=2026-12-31"
        for path, word, german in (("/api/explain?session=1", "because", "wurde"),
                                   (period, "notes", "Es wurde keine Zählung genannt"),
                                   ("/api/sale?session=1&pack=none", "why", "am Treibgang")):
            status, english = self.get(path)
            self.assertEqual(status, 200, english)
            self.assertNotIn(german, json.dumps(english, ensure_ascii=False))
            self.assertIn(german, json.dumps(self.get(path + "&lang=de")[1], ensure_ascii=False), word)
            for other in ("en", "xx", "..", "--help", "d%00", "de%20--db", ""):
                self.assertEqual(self.get(path + "&lang=" + other), (200, english), other)
        _, _, body = self.ask("GET", "/report?session=1&lang=de")
        self.assertIn('<html lang="de">', body.decode())
        self.assertIn("Was gefunden wurde", body.decode())
        _, _, body = self.ask("GET", "/report?session=1")
        self.assertIn('<html lang="en">', body.decode())


if __name__ == "__main__":
    tap.main()
