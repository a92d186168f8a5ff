"""The screens in another language: complete, where they should be, and nowhere else."""
import json
import os
import re
import shutil
import subprocess
import unittest

import screen
import tap
import yard

ROOT = os.path.dirname(os.path.dirname(os.path.dirname(os.path.abspath(__file__))))
WORDS = os.path.join(ROOT, "src/report/po/words")
GERMAN = {"LC_ALL": "C.UTF-8", "LANGUAGE": "de"}


class Catalogs(unittest.TestCase):
    def words(self, words):
        done = subprocess.run([words, "check"], text=True, stdout=subprocess.PIPE,
                              stderr=subprocess.STDOUT, check=False)
        return done.returncode, done.stdout

    def test_every_text_is_in_the_catalog_and_in_every_language(self):
        self.assertEqual(self.words(WORDS), (0, ""))

    def test_the_check_sees_what_it_must_see(self):
        y = yard.Yard()
        self.addCleanup(y.close)
        tree = os.path.join(y.dir, "tree")
        for part in ("src/race", "src/report", "src/cli", "src/daemon", "drivers"):
            shutil.copytree(os.path.join(ROOT, part), os.path.join(tree, part),
                            ignore=shutil.ignore_patterns("man", "debian"))
        words = os.path.join(tree, "src/report/po/words")
        self.assertEqual(self.words(words), (0, ""))
        for path, old, new, fault in (
                ("report/say.c", '"came past before"', '"came by before"', "run make words"),
                ("report/po/de.po", 'msgstr "kam schon vorbei"', 'msgstr ""', "not translated"),
                ("report/po/de.po", 'msgid "came past before"', '#, fuzzy\nmsgid "came past before"',
                 "not translated"),
                ("report/po/de.po", 'msgstr "  Nr. %s"', 'msgstr "  Nr. %d"', "format"),
                ("report/po/de.po", 'msgstr "BEREIT"', 'msgstr "FÄHRT"', "big ones"),
                ("report/po/de.po", 'msgid "READY"', 'msgid "STEADY"', "not defined"),
                ("daemon/page/race.js", "_`Session closed`", "_`Session shut`", "run make words"),
                ("daemon/page/pair.html", "<h1>Pair this device", "<h1>Pair that device",
                 "run make words"),
                ("race/explain_say.c", '"the code is not in the supply list"',
                 '"the code stands in no supply list"', "run make words"),
                ("race/rules_other.c", '"its entry was taken back"', '"its entry was struck"',
                 "run make words"),
                ("cli/packs/none.json", "mend the dates in the register", "mend the dates",
                 "run make words"),
                ("race/names.c", '"not-in-register"', '"not-in-book"', "run make words"),
                ("daemon/page/words_de.js", "LOS", "GEH", "words_de.js"),
                ("report/po/de.po", 'msgstr "Lauf offen: {0}"', 'msgstr "Lauf offen: {1}"',
                 "other places")):
            at = os.path.join(tree, "src", path)
            with open(at, encoding="utf-8") as file:
                was = file.read()
            self.assertIn(old, was)
            with open(at, "w", encoding="utf-8") as file:
                file.write(was.replace(old, new, 1))
            code, said = self.words(words)
            self.assertEqual(code, 1, (path, new))
            self.assertIn(fault, said)
            with open(at, "w", encoding="utf-8") as file:
                file.write(was)

    def test_words_shared_with_machine_forms_are_all_known(self):
        with open(os.path.join(ROOT, "src/core/words.c"), encoding="utf-8") as file:
            tables = re.findall(r"struct word (\w+)\[\] = \{(.*?)\n\};", file.read(), flags=re.S)
        with open(os.path.join(ROOT, "src/report/tongue.c"), encoding="utf-8") as file:
            known = set(re.findall(r'N_\("([^"]+)"\)', file.read()))
        self.assertEqual({name for name, _ in tables}, {"sexes", "statuses", "forms", "places"})
        for name, body in tables:
            first = {}
            for word, value in re.findall(r'\{"([^"]*)", (\w+)\}', body):
                first.setdefault(value, word)
            self.assertEqual({w for w in first.values() if w} - known, set(), name)


class Tongue(yard.DaemonTest):
    def setUp(self):
        self.y = self.yard()
        self.env = dict(os.environ, LUGMARK_DB=self.y.db, LUGMARK_SOCKET=self.y.socket,
                        LC_ALL="C.UTF-8", TERM="xterm", TZ="UTC")
        self.env.pop("LANGUAGE", None)

    def lm(self, *args, exit_code=0, program=yard.LUGMARK, **env):
        done = subprocess.run([program, *args], env=dict(self.env, **env), cwd=self.y.dir, text=True,
                              stdin=subprocess.DEVNULL, capture_output=True, timeout=60,
                              check=False)
        self.assertEqual(done.returncode, exit_code, (args, done.stdout, done.stderr))
        self.assertNotIn("Sanitizer", done.stderr)
        return done.stdout

    def a_session(self):
        self.lm("open", "walk", "--mob", "does")
        self.y.ports["front"].read(yard.code(2), yard.code(2), yard.code(77777))
        yard.until(lambda: "seen 1" in self.lm("status"))
        self.lm("saw", "0001", exit_code=1)

    def test_findings_of_the_daemon_are_in_the_language_of_who_asks(self):
        self.a_session()
        english = self.lm("findings", exit_code=1)
        german = self.lm("findings", exit_code=1, **GERMAN)
        self.assertIn("Ohrmarke gab keine Lesung", german)
        self.assertIn("Tiere erkannt", german)
        self.assertEqual(english, self.lm("findings", exit_code=1))  # the daemon went back
        client = self.y.client()
        for lang in ("../../de", "xx", "DE", "", "de\n", 3, None):
            told = client.ask("findings", text=True, lang=lang)
            self.assertEqual(told["text"], english, lang)
        self.assertEqual(client.ask("findings", text=True, lang="de")["text"], german)
        client.close()
        closed = self.lm("close", exit_code=1, **GERMAN)
        self.assertIn("Nicht gesehen ist nicht fort", closed)
        self.assertEqual(closed, self.lm("findings", "1", exit_code=1, **GERMAN))  # to the letter

    def test_machine_forms_are_the_same_in_every_language(self):
        self.a_session()
        for args in (("findings", "--json"), ("status", "--json"), ("readers", "--json")):
            say = 1 if args[0] == "findings" else 0
            self.assertEqual(self.lm(*args, exit_code=say, **GERMAN), self.lm(*args, exit_code=say))
        verdict = json.loads(self.lm("saw", "0003", "--json", exit_code=1, **GERMAN))["verdict"]
        self.assertEqual((verdict["attention"], verdict["reasons"], verdict["say"]),
                         ("look", ["no-reading"], "tag gave no reading"))
        self.lm("close", exit_code=1)
        for args in (("export",), ("export", "--format", "events", "--session", "1"),
                     ("explain", "1", "--json")):
            flag = 1 if args[0] == "explain" else 0
            self.assertEqual(self.lm(*args, exit_code=flag, **GERMAN),
                             self.lm(*args, exit_code=flag), args)

    def test_which_language_the_environment_asks_for(self):
        self.lm("open", "walk", "--mob", "does")
        english, german = self.lm("status"), self.lm("status", **GERMAN)
        self.assertIn("walk of mob does", english)
        self.assertIn("Durchtrieb der Gruppe does", german)
        for said, env in ((english, {"LC_ALL": "C", "LANGUAGE": "de"}),
                          (english, {"LC_ALL": "C.UTF-8", "LANGUAGE": "fr"}),
                          (english, {"LC_ALL": "fr_FR.UTF-8"}),
                          (german, {"LC_ALL": "de_AT.UTF-8"}),  # made on this machine or not
                          (german, {"LC_ALL": "", "LC_MESSAGES": "de_DE", "LANG": "C"}),
                          (german, {"LC_ALL": "", "LANG": "de_CH.UTF-8", "LC_NUMERIC": "de_CH"}),
                          (german, {"LC_ALL": "fr_FR.UTF-8", "LANGUAGE": "de"})):
            self.assertEqual(self.lm("status", **env), said, env)

    def test_one_and_many(self):
        self.lm("open", "walk", "--mob", "bucks")
        self.assertEqual(self.lm("head", "1", **GERMAN), "1 Kopf gezählt\n")
        self.assertEqual(self.lm("head", "0", **GERMAN), "0 Köpfe gezählt\n")
        self.assertEqual(self.lm("head", "1000", **GERMAN), "1000 Köpfe gezählt\n")
        self.assertEqual(self.lm("head", "1"), "1 head counted\n")

    def test_an_installed_program_finds_its_catalogs(self):
        there = os.path.join(self.y.dir, "opt")
        for place in ("bin", "share"):
            os.makedirs(os.path.join(there, place))
        program = os.path.join(there, "bin", "lugmark")
        os.symlink(os.path.join(yard.BUILD, "locale"), os.path.join(there, "share", "locale"))
        shutil.copy(yard.LUGMARK, program)
        self.lm("open", "walk")
        self.assertIn("Durchtrieb", self.lm("status", program=program, **GERMAN))
        os.unlink(os.path.join(there, "share", "locale"))
        with open(os.path.join(there, "bin", "locale"), "w", encoding="utf-8"):
            pass  # as /usr/bin/locale: no folder
        self.assertIn("walk", self.lm("status", program=program, **GERMAN))

    def look(self, rows=24, columns=80, **env):
        s = screen.Screen([yard.LUGMARK, "watch", "--no-bell"], dict(self.env, **{**GERMAN, **env}),
                          rows=rows, columns=columns)
        self.addCleanup(s.close)
        return s

    def shows(self, s, *parts):
        def there():
            text = "\n".join(s.lines())
            return all(p in text for p in parts) and s.lines()
        try:
            return yard.until(there)
        except AssertionError:
            self.fail((parts, s.lines()))

    def test_the_screen_in_german_fits_into_80_columns(self):
        s = self.look()
        self.shows(s, "KEIN LAUF OFFEN - beginnen mit: lugmark open walk", "Lesegeräte:  front")
        self.lm("open", "walk", "--mob", "does")
        self.shows(s, "Durchtrieb der Gruppe does", "erwartet 40   gesehen 0   noch nicht gesehen 40")
        self.y.ports["front"].read(yard.code(2))
        self.shows(s, "LOS: wird erwartet", "yellow, linkes Ohr   weiblich   Gruppe does   A2")
        self.y.ports["front"].read(yard.code(77777))
        self.lm("saw", "0001", exit_code=1)
        lines = self.shows(s, "SCHAU: Ohrmarke gab keine Lesung", "schau 1   halt 1",
                           "HALT   999000000077777  niemand, den wir kennen")
        flags = [line for line in lines if re.match(r" \d\d:\d\d:\d\d  ", line)]
        self.assertEqual([f.index("  ", 11) > 0 and f[11:16].rstrip() for f in flags],
                         ["SCHAU", "HALT"])
        self.assertEqual(flags[0].index("0001"), flags[1].index("9990"))  # one column
        self.y.kill()
        self.shows(s, "VERBINDUNG ZUM DIENST VERLOREN - neuer Versuch")

    def test_a_terminal_without_umlauts_has_every_column_all_the_same(self):
        self.lm("open", "walk")
        s = self.look(LC_CTYPE="C", LC_ALL="", LC_MESSAGES="C.UTF-8", LANG="C")
        self.shows(s, "erwartet 41", "Leseger?te:  front")


if __name__ == "__main__":
    tap.main()
