#!/usr/bin/env python3
"""The manual: it is sound, it leaves nothing out, and its examples do what they say.

In the sources of the pages a comment says what the literal block after it is:
  .\\" run [N]    shell lines; all end with 0, the last with N
  .\\" conf       a whole configuration that lugmarkd takes
  .\\" events     event lines that `reconcile --events` takes
  .\\" requests   lines for the control socket; each must be done
"""
import json
import os
import re
import shutil
import signal
import socket
import subprocess
import tempfile
import unittest

import tap

BUILD = os.environ["LUGMARK_BUILD"]
ROOT = os.path.dirname(os.path.dirname(os.path.dirname(os.path.abspath(__file__))))
PAGES = ["src/cli/man/lugmark-nfc.1", "src/daemon/man/lugmark.conf.5",
         "src/daemon/man/lugmark-driver.7", "src/daemon/man/lugmark-protocol.7",
         "src/daemon/man/lugmarkd.8", "src/cli/man/lugmark.1.in"]
END = "every line but the last was run"


def source(name):
    with open(os.path.join(ROOT, name), encoding="utf-8") as text:
        return text.read()


def run(*argv, **more):
    return subprocess.run(argv, capture_output=True, text=True, timeout=60,
                          stdin=subprocess.DEVNULL, **more)


def lugmark_1():
    """The page of the command line, put together as src/install.mk does."""
    done = run(os.path.join(BUILD, "lugmark"), "help", "--as=mdoc")
    return re.sub(r"(?m)^@COMMANDS@\n", lambda _: done.stdout, source("src/cli/man/lugmark.1.in"))


def page(name):
    return lugmark_1() if name.endswith(".in") else source(name)


def plain(text):
    """What roff makes of a literal line."""
    text = re.sub(r"^\\&", "", text)
    return text.replace("\\-", "-").replace("\\(dq", '"').replace("\\&", "").replace("\\e", "\\")


def blocks(kind):
    """(page, what stands behind the word, the text) of every block of a kind."""
    for name in PAGES:
        pattern = rf'(?ms)^\.\\" {kind}( \d+)?\n\.Bd -literal[^\n]*\n(.*?)^\.Ed$'
        for number, body in re.findall(pattern, source(name)):
            yield name, number.strip(), "".join(plain(x) for x in body.splitlines(True))


def shown(name):
    """The page as a reader sees it, without line breaks in the way."""
    text = subprocess.run(["mandoc", "-Tutf8", "-O", "width=500"], input=page(name), text=True,
                          capture_output=True, timeout=60).stdout
    return re.sub(".\b", "", text)


def key_lists():
    """Section or driver file -> the keys that its table names, from the sources."""
    keys = {}
    daemon = ["src/daemon/" + f for f in sorted(os.listdir(os.path.join(ROOT, "src/daemon")))
              if f.startswith("config_") and f.endswith(".c")]
    drivers = ["drivers/" + f for f in sorted(os.listdir(os.path.join(ROOT, "drivers")))
               if f.endswith(".c") and f != "template.c"]
    asking = re.search(r"#define LM_ASKING_KEYS (.*)", source("drivers/asking.h")).group(1)
    for name in daemon + drivers:
        text = source(name).replace("LM_ASKING_KEYS", asking)
        for table, body in re.findall(r"const char \*const (\w*(?:keys|section_names))\[\] = \{"
                                      r"([^}]*)\}", text):
            keys[f"{name}:{table}"] = re.findall(r'"([^"]+)"', body)
    return keys


class Sound(unittest.TestCase):
    def test_mandoc_finds_nothing_to_say(self):
        with tempfile.TemporaryDirectory() as folder:
            names = []
            for name in PAGES:
                base = os.path.basename(name).replace(".in", "")
                names.append(base)
                with open(os.path.join(folder, base), "w", encoding="utf-8") as out:
                    out.write(page(name))
            for base in names:
                said = run("mandoc", "-Tlint", base, cwd=folder)
                lines = [x for x in (said.stdout + said.stderr).splitlines()
                         if "referenced manual not found" not in x and "mandoc.db" not in x]
                self.assertEqual(lines, [])

    def test_no_other_form_of_the_help(self):
        done = run(os.path.join(BUILD, "lugmark"), "help", "--as=poem")
        self.assertEqual((done.returncode, done.stdout), (2, ""))
        self.assertIn("mdoc or completion", done.stderr)

    def test_pages_refer_to_pages_that_there_are(self):
        have = {tuple(os.path.basename(n).replace(".in", "").rsplit(".", 1)) for n in PAGES}
        for name in PAGES:
            for to in re.findall(r"(?m)^\.Xr (\S+) (\d)", page(name)):
                self.assertIn(to, have | {("systemd.exec", "5")}, name)

    def test_every_page_is_installed(self):
        listed = run("make", "-s", "-C", ROOT, "BUILD=" + BUILD, "PREFIX=", "list-installed")
        for name in PAGES:
            base = os.path.basename(name).replace(".in", "")
            self.assertIn(f"/share/man/man{base[-1]}/{base}\n", listed.stdout, listed.stderr)


class Whole(unittest.TestCase):
    def test_commands_and_options(self):
        text = shown("src/cli/man/lugmark.1.in")
        lugmark = os.path.join(BUILD, "lugmark")
        commands = re.findall(r"(?m)^  ([a-z][a-z-]*) +[A-Z]", run(lugmark, "--help").stdout)
        self.assertGreater(len(commands), 30)
        head = re.split(r"(?m)^   lugmark ", text)[0]  # with the options of every command
        parts = {x.split("\n")[0]: x for x in re.split(r"(?m)^   lugmark ", text)[1:]}
        self.assertEqual(sorted(parts), sorted(commands))
        for command in commands:
            options = re.findall(r"(?m)^  (?:(-.), |    )--([a-z0-9-]+)",
                                 run(lugmark, command, "--help").stdout)
            self.assertGreaterEqual(len(options), 4)
            for letter, option in options:
                row = rf"(?m)^ +{letter + ', ' if letter else ''}--{option}\b"
                self.assertRegex(head + parts[command], row, command)

    def test_daemon_and_helper(self):
        for program, name in (("lugmarkd", "src/daemon/man/lugmarkd.8"),
                              ("lugmark-nfc", "src/cli/man/lugmark-nfc.1")):
            text = shown(name)
            options = set(re.findall(r"(?m)^ +(--[a-z-]+)",
                                     run(os.path.join(BUILD, program), "--help").stdout))
            self.assertGreater(len(options), 3)
            for option in options:
                self.assertRegex(text, rf"(?m)^ +(-\w, )?{option}\b", name)

    def test_help_of_the_other_programs_is_what_their_parsers_take(self):
        """lugmark's own help is written from the parser's table; these two have theirs beside it."""
        for program, where in (("lugmarkd", "src/daemon/main.c"),
                               ("lugmark-nfc", "drivers/nfc_helper.c")):
            at = os.path.join(BUILD, program)
            shown_here = set(re.findall(r"(?m)^  --([a-z-]+)", run(at, "--help").stdout))
            takes = dict(re.findall(r'\{"([a-z-]+)", (no|required|optional)_argument', source(where)))
            self.assertEqual(shown_here, set(takes), program)
            self.assertGreater(len(takes), 3)
            for option, argument in takes.items():
                said = run(at, f"--{option}", *(["x"] if argument == "required" else []), "--help")
                self.assertEqual((said.returncode, said.stderr), (0, ""), option)
            for bad in ("--no-such", "--helpp"):
                self.assertEqual(run(at, bad).returncode, 2, program)

    def test_completion_offers_what_help_shows(self):
        lugmark = os.path.join(BUILD, "lugmark")
        script = run(lugmark, "help", "--as=completion").stdout
        offered = dict(re.findall(r"(?m)^    ([a-z-]+)\) echo '([^']*)' ;;$",
                                  script[:script.index("_lugmark_values")]))
        commands = re.findall(r"(?m)^  ([a-z][a-z-]*) +[A-Z]", run(lugmark, "--help").stdout)
        self.assertEqual(sorted(offered), sorted(commands))
        for command in commands:
            options = re.findall(r"(?m)^  (?:-., |    )(--[a-z0-9-]+)",
                                 run(lugmark, command, "--help").stdout.split("\nexample:")[0])
            self.assertEqual(offered[command].split(), options, command)
            for option in options:  # and the parser knows each; what stands last keeps it from acting
                said = run(lugmark, command, option, "x", "--no-such-option")
                self.assertEqual(said.returncode, 2, said.args)
                self.assertNotIn(f"no option {option};", said.stderr)

    def test_keys_of_the_configuration(self):
        tables = key_lists()
        self.assertGreater(len(tables), 8)
        self.assertGreater(sum(len(k) for k in tables.values()), 35)
        text = source("src/daemon/man/lugmark.conf.5")
        for where, keys in tables.items():
            for key in keys:
                if where.endswith("section_names"):
                    self.assertRegex(text, rf"(?m)^\.Ss Section {key}\b", where)
                else:
                    self.assertTrue(re.search(rf"(?m)^\.It Cm (.*, )?{key}( ,|$)", text),
                                    f"lugmark.conf.5 has no key {key} ({where})")

    def test_drivers_decoders_and_reasons(self):
        text = shown("src/daemon/man/lugmark.conf.5")
        listed = source("drivers/list.h")
        for kind in ("driver", "decoder"):
            body = re.search(rf"LM_{kind.upper()}_LIST\(X\)(.*?)\n\n", listed, re.S).group(1)
            for name in re.findall(r"X\((\w+)\)", body):
                self.assertTrue(re.search(rf"(?s){kind}.*\b{name}\b", text),
                                f"lugmark.conf.5 has no {kind} {name}")
        reasons = re.findall(r'\] = \{"([a-z-]+)", LM_\w+, LM_(HOLD|LOOK|GO)\}',
                             source("src/race/names.c"))
        self.assertGreater(len(reasons), 20)
        part = text[text.index("Section attention"):]
        for reason, attention in reasons:
            row = next((x for x in re.split(r"\n\n", part) if re.search(rf"\b{reason}\b", x)), "")
            self.assertRegex(row, rf"default {attention.lower()}", reason)

    def test_keys_of_the_protocol(self):
        text = shown("src/daemon/man/lugmark-protocol.7")
        for header in ("include/lugmark/control.h", "include/lugmark/page.h"):
            comment = source(header).split("*/")[0]
            keys = set(re.findall(r'"([a-z_]+)":', comment))
            self.assertGreater(len(keys), 15)
            for key in sorted(keys):
                self.assertRegex(text, rf"\b{key}\b", header)

    def test_keys_of_the_findings(self):
        text = shown("src/daemon/man/lugmark-protocol.7")
        with tempfile.TemporaryDirectory() as folder:
            readings = os.path.join(folder, "readings")
            with open(readings, "w", encoding="utf-8") as out:
                out.write("999000000099999\n")
            done = run(os.path.join(BUILD, "lugmark"), "reconcile", "--json", "--explain",
                       "--register", os.path.join(ROOT, "fixtures/demo/register.csv"),
                       "--readings", readings, "--heads", "3")
        found = json.loads(done.stdout)
        self.assertTrue(found["findings"] and found["explanations"])
        keys = set(found) | set(found["findings"][0]) | set(found["session"])
        keys |= set(found["bounds"]) | set(found["counts"]) | set(found["explanations"][0])
        for key in sorted(keys):
            self.assertRegex(text, rf"\b{key}\b")

    def test_keys_of_event_lines(self):
        text = shown("src/daemon/man/lugmark-driver.7")
        comment = source("include/lugmark/eventline.h").split("*/")[0]
        for key in sorted(set(re.findall(r'"([a-z_]+)"', comment)) - {"mob", "animal"}):
            self.assertRegex(text, rf"\b{key}\b")


class Examples(unittest.TestCase):
    def setUp(self):
        self.dir = tempfile.mkdtemp(prefix="lugmark-manual-")
        self.env = {"HOME": self.dir, "PATH": BUILD + ":/usr/bin:/bin", "LC_ALL": "C.UTF-8"}

    def tearDown(self):
        shutil.rmtree(self.dir)

    def test_shell_lines(self):
        number = 0
        for name in PAGES:
            home = os.path.join(self.dir, os.path.basename(name))
            os.mkdir(home)  # the examples of one page follow one another
            for at, status, body in [b for b in blocks("run") if b[0] == name]:
                number += 1
                # Commands end at a line end that nothing continues: no here-document is split.
                lines = re.split(r"(?<!\\)\n(?!$)", body) if "<<" not in body else [body.rstrip()]
                before, last = "\n".join(lines[:-1]), lines[-1]
                if "<<" in body:
                    before, last = body.rstrip().rsplit("\n", 1)
                script = f"set -e\n{before}\nset +e\necho '{END}' >&2\n{last}\n"
                got, out, err = self.shell(script, home)
                said = f"{at}:\n{script}\n{out}{err}"
                self.assertIn(END, err, said)
                self.assertEqual(got, int(status or 0), said)
        self.assertGreaterEqual(number, 6)

    def shell(self, script, home):
        """Status, output and messages of shell lines; what they leave running is ended."""
        process = subprocess.Popen(["sh", "-c", script], cwd=home, env=dict(self.env, HOME=home),
                                   stdin=subprocess.DEVNULL, stdout=subprocess.PIPE,
                                   stderr=subprocess.PIPE, text=True, start_new_session=True)
        try:
            out, err = process.communicate(timeout=60)
        finally:
            try:
                os.killpg(process.pid, signal.SIGKILL)
            except ProcessLookupError:
                pass  # as it should be
        return process.returncode, out, err

    def daemon(self, conf, db):
        """Run lugmarkd until its socket answers; the process and a connected client."""
        sock = os.path.join(self.dir, "sock")
        process = subprocess.Popen([os.path.join(BUILD, "lugmarkd"), "--config", conf, "--db", db,
                                    "--socket", sock], stdin=subprocess.DEVNULL,
                                   stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True)
        self.addCleanup(self.gone, process)
        lines = []
        for line in process.stderr:
            lines.append(line)
            if "at work" in line or "listening" in line or os.path.exists(sock):
                break
        client = socket.socket(socket.AF_UNIX)
        client.settimeout(20)
        try:
            client.connect(sock)
        except OSError as why:
            process.kill()
            raise AssertionError("".join(lines) + process.communicate()[1]) from why
        return process, client

    @staticmethod
    def gone(process):
        """Whatever a test came to, nothing goes on running."""
        if process.poll() is None:
            process.kill()
            process.communicate()

    def end(self, process, client):
        client.close()
        process.send_signal(signal.SIGTERM)
        said = process.communicate(timeout=30)[1]
        self.assertEqual(process.returncode, 0, said)

    def test_configurations(self):
        number = 0
        examples = list(blocks("conf"))
        examples.append(("example", "", source("src/daemon/lugmark.conf.example")))
        examples.append(("example with its reader", "", re.sub(
            r"(?m)^#(?=\[|\w+ =)", "", source("src/daemon/lugmark.conf.example"))))
        for name, _, body in examples:
            number += 1
            conf = os.path.join(self.dir, f"{number}.conf")
            with open(conf, "w", encoding="utf-8") as out:
                out.write(body)
            process, client = self.daemon(conf, os.path.join(self.dir, f"{number}.db"))
            client.sendall(b'{"do":"readers"}\n')
            with client.makefile() as lines:
                self.assertIn("schema", lines.readline())
                readers = json.loads(lines.readline())["readers"]
            self.end(process, client)
            self.assertEqual(len(readers), len(re.findall(r"(?m)^\[reader ", body)), name)
        self.assertGreaterEqual(number, 4)

    def test_event_lines(self):
        number = 0
        register = os.path.join(self.dir, "r.csv")
        with open(register, "w", encoding="utf-8") as out:
            out.write("animal,eid,visual\nA17,999000000012345,0417\n")
        for name, _, body in blocks("events"):
            number += 1
            events = os.path.join(self.dir, "events")
            with open(events, "w", encoding="utf-8") as out:
                out.write(body)
            done = run(os.path.join(BUILD, "lugmark"), "reconcile", "--register", register,
                       "--events", events)
            self.assertIn(done.returncode, (0, 1), name + done.stderr)
        self.assertGreaterEqual(number, 3)

    def test_requests(self):
        (_, _, body), = blocks("requests")
        conf, db = os.path.join(self.dir, "conf"), os.path.join(self.dir, "r.db")
        register = os.path.join(self.dir, "r.csv")
        with open(register, "w", encoding="utf-8") as out:
            out.write("animal,mob,eid,visual\nA17,does,999000000012345,0417\n")
        with open(conf, "w", encoding="utf-8"):
            pass
        lugmark = os.path.join(BUILD, "lugmark")
        self.assertEqual(run(lugmark, "init", "--db", db).returncode, 0)
        self.assertEqual(run(lugmark, "import", "--db", db, register).returncode, 0)
        process, client = self.daemon(conf, db)
        lines = client.makefile("rw")
        self.assertEqual(json.loads(lines.readline())["schema"], "lugmark.control/1")
        for request in body.splitlines():
            lines.write(request + "\n")
            lines.flush()
            answer = json.loads(lines.readline())
            self.assertIs(answer.get("ok"), True, f"{request}\n{answer}")
            self.assertEqual(answer.get("id"), json.loads(request).get("id"))
        lines.close()
        self.end(process, client)


if __name__ == "__main__":
    tap.main()
