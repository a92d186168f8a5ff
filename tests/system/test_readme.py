"""What README.md and DEVELOPERS.md show: shell blocks run as they stand, configurations are taken, and
every command, option, make target, file and picture that they name is there.

A block is what stands fenced or indented by four blanks. It is known by its first line; a new one
must run, or be named in CANNOT_RUN with the reason.
"""
import glob
import os
import re
import shutil
import signal
import subprocess
import tempfile
import unittest

import tap
import yard

ROOT = os.path.dirname(os.path.dirname(os.path.dirname(os.path.abspath(__file__))))
TEXTS = ("README.md", "DEVELOPERS.md")
PORT = "/dev/serial/by-id/usb-EXAMPLE-if00-port0"

# First line of a block -> why it cannot run here. Its commands and options are still looked up.
CANNOT_RUN = {
    "make demo      # an invented": "builds the tree again and plays for a minute; runs this very test",
    "make && sudo make install": "writes into the system; test_install does it in a folder of its own",
}
# Single lines of blocks that run -> why not these.
NOT_THESE = {
    "ls /dev/serial/by-id/": "no reader is plugged in",
    "mkdir -p ~/.config/lugmark; $EDITOR": "an editor wants a person; the test writes the block below",
    "lugmarkd &": "the test starts it, and waits until its port is open",
    "lugmark watch": "a screen that only a person ends; test_watch has it",
    "lugmark readers --try /dev/serial": "no reader is plugged in",
}

# Files that are named and are somebody's own.
OTHERS_FILES = {"race.html"}


def text(name):
    with open(os.path.join(ROOT, name), encoding="utf-8") as file:
        return file.read()


def blocks(source):
    """Fenced and indented blocks, without their indent."""
    lines, found, i = source.split("\n"), [], 0
    while i < len(lines):
        if lines[i].lstrip().startswith("```"):
            end = next(k for k in range(i + 1, len(lines)) if lines[k].lstrip().startswith("```"))
            found.append(lines[i + 1:end])
            i = end
        elif re.match(" {4,}\\S", lines[i]) and (i == 0 or lines[i - 1].strip() == ""):
            end = i
            while end < len(lines) and (re.match(" {4,}\\S", lines[end]) or (
                    lines[end] == "" and end + 1 < len(lines) and lines[end + 1].startswith("    "))):
                end += 1
            found.append(lines[i:end])
            i = end
        i += 1
    out = []
    for block in found:
        indent = min(len(x) - len(x.lstrip()) for x in block if x.strip())
        part = "\n".join(x[indent:] for x in block).strip("\n")
        # A configuration that follows commands in one block is a block of its own.
        out += re.split(r"\n\n(?=\[)", part, maxsplit=1) if not part.startswith("[") else [part]
    return out


def is_config(block):
    return block.startswith("[")


def listed(block, table):
    return next((why for first, why in table.items() if block.startswith(first)), None)


class Named(unittest.TestCase):
    """Everything that is named is there."""

    def setUp(self):
        said = subprocess.run([yard.LUGMARK, "--help"], capture_output=True, text=True, check=True).stdout
        self.commands = set(re.findall(r"(?m)^  ([a-z][a-z-]*) +[A-Z]", said))
        self.assertGreater(len(self.commands), 30)
        self.options = {c: set(re.findall(r"--[a-z-]+|(?<=  )-\w(?=, )", self.said(yard.LUGMARK, c, "--help")))
                        for c in self.commands}
        for program in ("lugmarkd", "lugmark-nfc"):
            self.options[program] = set(re.findall(r"--[a-z-]+", self.said(
                os.path.join(yard.BUILD, program), "--help")))

    @staticmethod
    def said(*argv):
        return subprocess.run(argv, capture_output=True, text=True, check=True).stdout

    def snippets(self, name):
        """Code in backquotes and the lines of blocks, each cut where another command begins."""
        source = text(name)
        inline = re.findall(r"`([^`\n]+(?:\n[^`\n]+)?)`", re.sub(r"(?s)```.*?```", "", source))
        lines = [x for b in blocks(source) if not is_config(b) for x in
                 re.sub(r"\\\n\s*", " ", b).split("\n")]
        for snippet in [" ".join(x.split()) for x in inline] + lines:
            yield from re.split(r"; +|&& | \| ", re.sub(r"(^|\s)# .*", "", snippet))

    def faults(self, snippet):
        """What of one command is not there."""
        words = snippet.replace("`", "").split()
        while words and re.match(r"[A-Z_]+=", words[0]):
            words.pop(0)  # an environment
        if not words:
            return []
        if words[0] == "lugmark" and len(words) > 1:
            words.pop(0)
            if re.match(r"[a-z]", words[0]) and words[0] not in self.commands | {"help"}:
                return [f"there is no command {words[0]}"]
        options = [re.match(r"(--[a-z-]+|-\w)", w)[1] for w in words if re.match(r"--[a-z]|-\w$", w)]
        if words[0] in self.options:
            return [f"{words[0]} has no {o}" for o in options if o not in self.options[words[0]]]
        if words[0].startswith("--"):  # an option by itself: some command's
            everybodys = set().union(*self.options.values()) | {"--version"}
            return [f"nothing has {o}" for o in options if o not in everybodys]
        return []

    def test_commands_and_options(self):
        looked = 0
        for name in ("README.md",):
            for snippet in self.snippets(name):
                self.assertEqual(self.faults(snippet), [], f"{name}: {snippet}")
                looked += 1
        self.assertGreater(looked, 100)
        for bad in ("lugmark repoort", "lugmark tag --srip S1", "undo --registerr", "--jsn",
                    "LANGUAGE=de lugmark wach", "lugmarkd --pear", "lugmark report -x"):
            self.assertNotEqual(self.faults(bad), [], bad)

    def test_make_targets(self):
        rules = "".join(text(os.path.relpath(f, ROOT)) for f in [os.path.join(ROOT, "Makefile"),
                                                                 *glob.glob(ROOT + "/src/*.mk"),
                                                                 *glob.glob(ROOT + "/tests/**/*.mk", recursive=True)])
        targets = set(sum((m.split() for m in re.findall(r"(?m)^([a-z][\w -]*):", rules)), []))
        for name in TEXTS:
            named = set(sum((m.split() for m in re.findall(r"`make((?: [a-z][a-z-]+)+)", text(name))), []))
            named |= set(re.findall(r"(?m)^    make ([a-z-]+)", text(name)))
            self.assertGreater(len(named), 2)
            self.assertEqual(named - targets, set(), name)

    def test_files_and_pictures(self):
        everywhere = {os.path.basename(f) for f in glob.glob(ROOT + "/**/*.*", recursive=True)}
        missing = []
        for name in TEXTS:
            source = text(name)
            links = [x for x in re.findall(r"\]\(([^)#]+)\)", source) if "://" not in x]
            paths = re.findall(r"`((?:src|include|drivers|fixtures|tests)/[\w./*-]+?)`", source)
            self.assertGreater(len(links) + len(paths), 4)
            missing += [(name, p) for p in links + paths if not glob.glob(os.path.join(ROOT, p))]
            missing += [(name, b) for b in re.findall(r"`([a-z]\w*\.(?:c|h|js|py|mjs|json|awk))`", source)
                        if b not in everywhere | OTHERS_FILES]
        self.assertEqual(missing, [])



class Blocks(yard.DaemonTest):
    def setUp(self):
        self.dir = tempfile.mkdtemp(prefix="lugmark-readme-")
        self.addCleanup(shutil.rmtree, self.dir)
        bin_dir = os.path.join(self.dir, "bin")
        os.mkdir(bin_dir)
        for program in ("lugmark", "lugmarkd", "lugmark-nfc"):
            os.symlink(os.path.join(yard.BUILD, program), os.path.join(bin_dir, program))
        self.env = {"HOME": self.dir, "PATH": f"{bin_dir}:/usr/bin:/bin", "LC_ALL": "C.UTF-8", "TZ": "UTC",
                    "LUGMARK_PACKS": os.path.join(ROOT, "src/cli/packs"), "TERM": "xterm",
                    "LUGMARK_DB": os.path.join(self.dir, "goats.db"),
                    "LUGMARK_SOCKET": os.path.join(self.dir, "lugmark.sock")}
        os.symlink(os.path.join(ROOT, "fixtures"), os.path.join(self.dir, "fixtures"))
        for key in ("LSAN_OPTIONS", "ASAN_OPTIONS", "UBSAN_OPTIONS"):
            if key in os.environ:
                self.env[key] = os.environ[key]
        self.all = [b for name in TEXTS for b in blocks(text(name))]
        self.done = set()
        self.port = yard.Port(os.path.join(self.dir, "port"))
        self.addCleanup(self.port.close)

    def block(self, first):
        """The block that begins so; it counts as run."""
        found = [b for b in self.all if b.startswith(first)]
        self.assertEqual(len(found), 1, first)
        self.done.add(found[0])
        return found[0]

    def sh(self, line, codes=(0, 1)):
        process = subprocess.Popen(["sh", "-c", line], cwd=self.dir, env=self.env, text=True,
                                   stdin=subprocess.DEVNULL, stdout=subprocess.PIPE,
                                   stderr=subprocess.PIPE, start_new_session=True)
        try:
            out, err = process.communicate(timeout=60)
        finally:
            try:
                os.killpg(process.pid, signal.SIGKILL)
            except ProcessLookupError:
                pass
        self.assertIn(process.returncode, codes, f"{line}\n{out}{err}")
        self.assertNotIn("Sanitizer", err)
        return out

    def run_block(self, first, codes=(0, 1)):
        """Every line of it, but those that cannot; exit 1 says that something is flagged."""
        out = ""
        for line in re.sub(r"\\\n\s*", " ", self.block(first)).split("\n"):
            if line.strip() and not line.startswith("#") and listed(line, NOT_THESE) is None:
                out += self.sh(self.known(line), codes)
        return out

    def known(self, line):
        """`export` must last for the lines after it."""
        for name, value in re.findall(r"(\w+)=(\S+)", line) if line.startswith("export ") else ():
            self.env[name] = value.replace("$HOME", self.dir)
        return line

    def daemon(self, config, ports=1):
        """lugmarkd with a configuration of README, its port a pseudo-terminal."""
        at = os.path.join(self.dir, "readme.conf")
        config = config.replace(PORT, self.port.link)
        config = re.sub(r"(?m)^port = /dev/serial/by-id/usb-\.\.\.$", f"port = {self.port.link}", config)
        config = config.replace("/usr/local/bin/follow.py", os.path.join(ROOT, "fixtures/programs/follow.py"))
        config = config.replace("/srv/reader", self.dir).replace("192.168.1.5", "127.0.0.3")
        config = config.replace("127.0.0.1:8480", "127.0.0.1:0")
        if "[page]" not in config:
            config += "\n[page]\nlisten = off\n"
        with open(at, "w", encoding="utf-8") as out:
            out.write(config)
        with open(os.path.join(self.dir, "log"), "wb") as log:
            process = subprocess.Popen(["lugmarkd", "--config", at], env=self.env, cwd=self.dir, stdout=log,
                                       stderr=log, stdin=subprocess.DEVNULL,
                                       preexec_fn=yard.ends_with_us(None))
        self.addCleanup(self.gone, process)

        def answers():
            if process.poll() is not None:
                with open(os.path.join(self.dir, "log"), encoding="utf-8") as log:
                    raise AssertionError(f"{config}\n{log.read()}")
            return subprocess.run(["lugmark", "status"], env=self.env, capture_output=True,
                                  check=False).returncode in (0, 1)
        yard.until(answers)
        readers = self.sh("lugmark readers")
        for name in re.findall(r"(?m)^\[reader ([^\]]+)\]", config):
            self.assertIn(name, readers)
        if ports:
            yard.until(lambda: re.search(r"\b(live|silent)\b", self.sh("lugmark readers")))
        return process

    @staticmethod
    def gone(process):
        if process.poll() is None:
            process.send_signal(signal.SIGTERM)
            process.wait(yard.WAIT)

    def register(self):
        self.sh("lugmark init --holding 'Our place'")
        self.sh("lugmark import fixtures/demo/register.csv")
        with open(os.path.join(self.dir, "strips.csv"), "w", encoding="utf-8") as out:
            out.write("strip,position,eid,visual,form,colour,official\n" + "".join(
                f"S1,{i},9990000009{i:05d},EX 0000 9{i:04d},button tag,yellow,yes\n" for i in range(1, 30)))

    def write(self, name, words):
        with open(os.path.join(self.dir, name), "w", encoding="utf-8") as out:
            out.write(words)

    def session(self, *lines, codes=("999000000000101", "999000000000103")):
        n = 0
        for line in lines:
            self.sh(line)
        for code in codes:
            self.port.read(code)
            n += 1
            yard.until(lambda n=n: f'"readings": {n}' in self.sh("lugmark status --json") or
                       f'"readings":{n}' in self.sh("lugmark status --json"))

    def test_a_first_session(self):
        first = self.block("export LUGMARK_DB")
        shutil.copy(os.path.join(ROOT, "fixtures/demo/register.csv"), self.dir)
        config = self.block("[lane 1]\n[reader front]\nlane = 1")
        for line in first.split("\n"):
            line = re.split(r"\s+#", line)[0]
            if line.startswith("lugmarkd &"):
                self.daemon(config)
            if listed(line, NOT_THESE) is not None:
                continue
            if line.startswith("lugmark head"):
                self.port.read("999000000000101")
                yard.until(lambda: "1" in self.sh("lugmark status"))
                self.sh("lugmark saw 1003")
            self.sh(self.known(line))
        said = self.sh("lugmark findings 1")
        self.assertIn("heads counted", said)
        self.assertIn("animals identified", said)

    def test_through_the_year(self):
        self.register()
        self.daemon(self.block("[lane 1]\n[reader front]\nlane = 1"))
        self.sh("lugmark stock import strips.csv")
        said = self.run_block("lugmark tag --strip S1")
        self.assertIn("orange", said)  # the mark plan of 2026 answers
        for _ in range(3):
            self.session("lugmark open walk --mob does")
            self.sh("lugmark close")
        block = self.block("lugmark open count --count 2026").split("\n")
        self.session(block[0].split("#")[0])
        self.sh("lugmark close")
        for line in block[1:]:
            self.sh(line)
        self.run_block("lugmark report ")
        for name in ("race.html", "count.html"):
            self.assertTrue(os.path.getsize(os.path.join(self.dir, name)) > 1000)

    def test_chips_of_leg_bands(self):
        for line in self.block("lugmark tag A17 --uid").split("\n"):
            self.sh("rm -f goats.db*; lugmark init")  # each is another way of the same
            self.write("a17.csv", "animal,visual,official\nA17,0417,no\n")
            self.sh("lugmark import a17.csv")
            self.sh(line, codes=(0,))
            self.assertIn("uid:04A1B2C3D4E5F6", self.sh("lugmark show A17").replace(
                "chip ", "uid:"))

    def test_without_a_register_or_a_daemon(self):
        self.register()
        self.write("readings.txt", "999000000000101\n999000000000103\n")
        shutil.copy(os.path.join(ROOT, "fixtures/demo/register.csv"), os.path.join(self.dir, "R.csv"))
        self.write("race.ndjson", '{"seq":1,"open":{"id":"1","kind":"walk"}}\n'
                                  '{"seq":2,"reading":"999000000000101","lane":"1"}\n{"seq":3,"close":true}\n')
        said = self.run_block("lugmark reconcile --register fixtures")
        self.assertIn("What most likely happened", said)
        self.assertIn("999 ", said.replace("999000000012345  999", "999 "))

    def test_a_reader_that_sends_frames(self):
        frame = self.block("[reader front]\nport")
        self.write("yard.conf", frame)
        national, country = f"{12345:010X}"[::-1], f"{999:04X}"[::-1]
        body = f"{national}{country}01".encode() + b"0" * 10
        check = 0
        for byte in body:
            check ^= byte
        with open(os.path.join(self.dir, "capture.bin"), "wb") as out:
            out.write((b"\x02" + body + bytes([check, check ^ 0xFF]) + b"\x03") * 3)
        said = self.run_block("lugmark readers --try")
        self.assertIn("999000000012345", said)
        self.register()
        self.daemon(frame)

    def test_configurations(self):
        self.register()
        for first, ports in (("[page]\nlisten", 0), ("[reader pen]", 0), ("[reader race]", 0)):
            process = self.daemon(self.block(first), ports)
            self.gone(process)

    def test_pairing(self):
        self.register()
        self.daemon("[page]\nlisten = 127.0.0.1:0\nlan = 127.0.0.3\n", 0)
        said = self.run_block("lugmarkd --pair ", codes=(0,))
        self.assertIn("http://127.0.0.3:", said)

    def test_every_block_runs_or_says_why_not(self):
        """The tests above name the blocks that they run: nothing else may stand there."""
        with open(__file__, encoding="utf-8") as file:
            own = file.read()
        run = [m.encode().decode("unicode_escape") for m in re.findall(
            r'(?:self\.(?:block|run_block)\(|\(\(?)"((?:lugmark|\[|export)[^"]*)"', own)]
        for block in self.all:
            why = listed(block, CANNOT_RUN)
            ran = any(block.startswith(r) for r in run)
            self.assertTrue(ran or why, f"a block that nobody runs: {block.splitlines()[0]}")
        for first in CANNOT_RUN:
            self.assertTrue(any(b.startswith(first) for b in self.all), f"no such block: {first}")
        lines = "\n".join(self.all).split("\n")
        for first in NOT_THESE:
            self.assertTrue(any(x.startswith(first) for x in lines), f"no such line: {first}")


if __name__ == "__main__":
    tap.main()
