#!/usr/bin/env python3
"""`make install` into a folder: what is there, that it works from there, and that nothing stays."""
import os
import re
import shutil
import subprocess
import tempfile
import time
import unittest

import tap

BUILD = os.environ["LUGMARK_BUILD"]
ROOT = os.path.dirname(os.path.dirname(os.path.dirname(os.path.abspath(__file__))))
PREFIX = "/opt/marks"


def run(*argv, **more):
    return subprocess.run(argv, capture_output=True, text=True, timeout=120,
                          stdin=subprocess.DEVNULL, **more)


def built_with():
    """The compiler's flags of this build, as the Makefile left them."""
    with open(os.path.join(BUILD, "flags"), encoding="utf-8") as text:
        return text.read().split()


def mode():
    """MODE of this build: with another one everything would be compiled again."""
    if "--coverage" in built_with():
        return "coverage"
    return "debug" if any(w.startswith("-fsanitize=") for w in built_with()) else "release"


def make(*targets, dest):
    done = run("make", "-s", "-C", ROOT, "BUILD=" + BUILD, "DESTDIR=" + dest, "PREFIX=" + PREFIX,
               "MODE=" + mode(), *targets)
    if done.returncode != 0:
        raise AssertionError(done.stdout[-3000:] + done.stderr[-3000:])
    return done.stdout


def header_names():
    return sorted(f for f in os.listdir(os.path.join(ROOT, "include/lugmark")) if f.endswith(".h"))


def prototypes():
    """Functions that the public headers declare, as the compiler understands them."""
    headers = header_names()
    with tempfile.TemporaryDirectory() as folder:
        source = os.path.join(folder, "all.c")
        with open(source, "w", encoding="utf-8") as out:
            out.write("".join(f'#include "lugmark/{h}"\n' for h in headers))
        done = run("gcc", "-std=c11", "-D_GNU_SOURCE", "-I", os.path.join(ROOT, "include"),
                   "-fsyntax-only", "-aux-info", source + ".x", source)
        if done.returncode != 0:
            raise AssertionError(done.stderr)
        with open(source + ".x", encoding="utf-8") as listed:
            return {m.group(1) for line in listed
                    if "/include/lugmark/" in line and " static " not in line
                    for m in [re.search(r"\b(lm_\w+) \(", line)] if m}


PROGRAM = r"""
#include <lugmark/decode.h>
#include <lugmark/driver.h>
#include <lugmark/store.h>
#include <lugmark/version.h>
#include <stdio.h>

int main(int argc, char **argv)
{
    struct lm_decoded code;
    struct lm_problem p = {.err = LM_OK};
    struct lm_store *store = NULL;
    if (lm_decode("999000000012345", 15, &code, &p) != LM_OK)
        return 1;
    if (lm_driver_find("serial") == NULL)
        return 2;
    if (argc < 2 || lm_store_open(argv[1], LM_STORE_CREATE, &store, &p) != LM_OK)
        return 3;
    lm_store_close(store);
    printf("%s\n", LM_VERSION);
    return 0;
}
"""


class Installed(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.dest = tempfile.mkdtemp(prefix="lugmark-install-")
        cls.home = tempfile.mkdtemp(prefix="lugmark-home-")
        make("install", dest=cls.dest)
        cls.listed = make("list-installed", dest=cls.dest).split()

    @classmethod
    def tearDownClass(cls):
        shutil.rmtree(cls.dest)
        shutil.rmtree(cls.home)

    def at(self, *parts):
        return os.path.join(self.dest + PREFIX, *parts)

    def program(self, *argv, **more):
        env = {"HOME": self.home, "PATH": self.at("bin") + ":/usr/bin:/bin", "LC_ALL": "C.UTF-8"}
        return run(*argv, env=env, cwd=self.home, **more)

    @staticmethod
    def files(where):
        return sorted(os.path.join(folder, f)[len(where):]
                      for folder, _, names in os.walk(where) for f in names)

    def test_what_is_there_is_what_the_list_says(self):
        self.assertEqual(self.files(self.dest), sorted(self.listed))

    def test_nothing_that_a_keeper_or_an_engineer_needs_is_missing(self):
        packs = [f for f in os.listdir(os.path.join(ROOT, "src/cli/packs")) if f.endswith(".json")]
        headers = header_names()
        self.assertGreater(len(packs), 3)
        want = ["bin/lugmark", "bin/lugmarkd", "bin/lugmark-nfc", "lib/liblugmark.a",
                "lib/liblugmark.so", "lib/liblugmark.so.0", "lib/pkgconfig/lugmark.pc",
                "lib/udev/rules.d/62-lugmark.rules", "lib/systemd/system/lugmarkd.service",
                "lib/sysusers.d/lugmark.conf", "share/bash-completion/completions/lugmark",
                "share/doc/lugmark/examples/lugmark.conf", "share/man/man1/lugmark.1",
                "share/man/man1/lugmark-nfc.1", "share/man/man5/lugmark.conf.5",
                "share/man/man7/lugmark-protocol.7", "share/man/man7/lugmark-driver.7",
                "share/man/man8/lugmarkd.8"]
        want += ["share/lugmark/packs/" + f for f in packs]
        want += ["include/lugmark/" + f for f in headers]
        want += ["share/lugmark/schemas/" + name + ".schema.json"
                 for name in ("findings", "event", "control", "request")]
        self.assertEqual([w for w in want if not os.path.exists(self.at(w))], [])

    def test_modes(self):
        for name in self.listed:
            mode = os.stat(self.dest + name).st_mode & 0o777
            program = "/bin/" in name or name.endswith(("follow.py", ".sh"))
            if not os.path.islink(self.dest + name) and ".so." not in name:
                self.assertEqual(oct(mode), "0o755" if program else "0o644", name)

    def test_no_place_is_left_to_fill_in(self):
        for name in ("lib/systemd/system/lugmarkd.service", "lib/pkgconfig/lugmark.pc",
                     "share/man/man1/lugmark.1"):
            with open(self.at(name), encoding="utf-8") as text:
                self.assertNotRegex(text.read(), "@[A-Z]+@", name)
        with open(self.at("lib/systemd/system/lugmarkd.service"), encoding="utf-8") as unit:
            self.assertIn(f"ExecStart={PREFIX}/bin/lugmarkd ", unit.read())

    def test_the_metainfo_names_the_devices_of_the_udev_rules(self):
        with open(self.at("share/metainfo/lugmark.metainfo.xml"), encoding="utf-8") as text:
            named = re.findall(r"<modalias>usb:v(\w{4})p(\w{4})d\*</modalias>", text.read())
        with open(self.at("lib/udev/rules.d/62-lugmark.rules"), encoding="utf-8") as text:
            ruled = re.findall(r'(?m)^[^#\n]*idVendor}=="(\w+)".*idProduct}=="(\w+)"', text.read())
        self.assertGreater(len(ruled), 5)
        self.assertEqual(named, [(v.upper(), p.upper()) for v, p in ruled])

    def test_nothing_outside_the_prefix(self):
        self.assertEqual([n for n in self.listed if not n.startswith(PREFIX + "/")], [])
        self.assertEqual(os.listdir(self.dest), ["opt"])

    def test_the_programs_run_and_find_their_packs(self):
        for name in ("lugmark", "lugmarkd", "lugmark-nfc"):
            self.assertRegex(self.program(name, "--version").stdout, rf"^{name} \d+\.\d+\.\d+\n$")
        self.assertEqual(self.program("lugmark", "init").returncode, 0)
        done = self.program("lugmark", "sale-check", "--packs")
        for pack in ("eu", "us", "england"):
            self.assertRegex(done.stdout, rf"(?m)^\s*{pack}\b", done.stdout + done.stderr)

    def test_lugmarkd_finds_the_nfc_helper_beside_it(self):
        master, slave = os.openpty()
        conf = os.path.join(self.home, "nfc.conf")
        with open(conf, "w", encoding="utf-8") as out:
            out.write(f"[reader pen]\ndriver = nfc\nport = {os.ttyname(slave)}\n")
        daemon = subprocess.Popen([self.at("bin/lugmarkd"), "--config", conf, "--db",
                                   os.path.join(self.home, "nfc.db"), "--socket",
                                   os.path.join(self.home, "nfc.sock")],
                                  env={"HOME": self.home, "PATH": "/nowhere"},
                                  stdin=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        try:
            end = time.monotonic() + 20
            while self.at("bin/lugmark-nfc") not in self.children(daemon.pid):
                self.assertLess(time.monotonic(), end, "lugmark-nfc was never run")
                time.sleep(0.02)
        finally:
            daemon.terminate()
            daemon.wait(timeout=30)
            os.close(master)
            os.close(slave)

    @staticmethod
    def children(pid):
        """The programs that a process runs now."""
        found = []
        for entry in os.listdir("/proc"):
            try:
                with open(f"/proc/{entry}/stat", encoding="utf-8") as stat:
                    if int(stat.read().rsplit(")", 1)[1].split()[1]) == pid:
                        found.append(os.readlink(f"/proc/{entry}/exe"))
            except (OSError, ValueError):
                pass  # no process, or one that has just ended
        return found

    def test_soname_and_symbols(self):
        lib = self.at("lib/liblugmark.so")
        self.assertIn("SONAME", run("readelf", "-d", lib).stdout)
        self.assertRegex(run("readelf", "-d", lib).stdout, r"SONAME.*\[liblugmark\.so\.0\]")
        shown = {line.split()[2].split("@")[0]
                 for line in run("nm", "-D", "--defined-only", lib).stdout.splitlines()
                 if line.split()[1] in "TDBR"}
        declared = prototypes()
        self.assertGreater(len(declared), 150)
        self.assertEqual(sorted(declared - shown), [], "declared and not in the library")
        self.assertEqual(sorted(shown - declared), [], "shown and in no public header")

    def build(self, *how):
        source, program = os.path.join(self.home, "small.c"), os.path.join(self.home, "small")
        with open(source, "w", encoding="utf-8") as out:
            out.write(PROGRAM)
        env = {"PKG_CONFIG_PATH": self.at("lib/pkgconfig"), "PATH": os.environ["PATH"],
               "PKG_CONFIG_SYSROOT_DIR": self.dest}
        flags = run("pkg-config", "--cflags", "--libs", *how, "lugmark", env=env)
        self.assertEqual(flags.returncode, 0, flags.stderr)
        words = flags.stdout.split()
        # The libraries that ours needs have no folder of their own under the place of installation.
        words = [w for w in words if not (w.startswith("-I" + self.dest) and PREFIX not in w)]
        if how:
            words = ["-l:liblugmark.a" if w == "-llugmark" else w for w in words]
        # What the library was built with its users must be, too.
        words += [w for w in built_with() if w.startswith(("-fsanitize=", "--coverage"))]
        done = run("gcc", "-std=c11", "-Wall", "-Wextra", "-Werror", "-o", program, source, *words)
        self.assertEqual(done.returncode, 0, done.stderr)
        return program

    def use(self, program):
        db = os.path.join(self.home, "small.db")
        if os.path.exists(db):
            os.unlink(db)
        done = run(program, db, env={"LD_LIBRARY_PATH": self.at("lib"), "HOME": self.home})
        self.assertEqual(done.returncode, 0, done.stderr)
        self.assertTrue(os.path.getsize(db) > 0)
        self.assertIn("lugmark " + done.stdout, self.program("lugmark", "--version").stdout)

    def test_a_program_with_the_shared_library(self):
        program = self.build()
        self.assertIn("liblugmark.so.0", run("readelf", "-d", program).stdout)
        self.use(program)

    def test_a_program_with_the_static_library(self):
        program = self.build("--static")
        self.assertNotIn("liblugmark.so", run("readelf", "-d", program).stdout)
        self.use(program)

    def complete(self, *words):
        script = ('. "$1"; shift; COMP_WORDS=("$@"); COMP_CWORD=$(($# - 1)); _lugmark; '
                  'printf "%s\\n" "${COMPREPLY[@]}"')
        done = self.program("bash", "--norc", "-c", script, "bash",
                            self.at("share/bash-completion/completions/lugmark"), "lugmark", *words)
        self.assertEqual(done.stderr, "")
        return done.stdout.split()

    def test_completion(self):
        rows = [
            (("rec",), ["reconcile"]),
            (("mark",), ["mark-plan"]),
            (("open", "--mo"), ["--mob"]),
            (("--db", "x.db", "open", "--mo"), ["--mob"]),
            (("export", "--format", ""), ["csv", "events", "icar"]),
            (("export", "-f", "ev"), ["events"]),
            (("export", "--format", "=", "ic"), ["icar"]),
            (("import", "--keep", "o"), ["ours"]),
            (("mark-plan", "c"), ["check"]),
            (("decode", "--nothing"), []),
        ]
        for words, want in rows:
            self.assertEqual(self.complete(*words), want, words)

    def test_completion_of_files(self):
        with open(os.path.join(self.home, "yard flock.csv"), "w", encoding="utf-8"):
            pass
        self.assertEqual(self.complete("import", "yard f"), ["yard", "flock.csv"])
        self.assertEqual(self.complete("import", "--mapping", "yard"), ["yard", "flock.csv"])

    def test_completion_knows_every_command_and_option(self):
        commands = [m.group(1) for m in re.finditer(r"(?m)^  ([a-z][a-z-]*) +[A-Z]",
                                                    self.program("lugmark", "--help").stdout)]
        self.assertGreater(len(commands), 30)
        self.assertEqual(sorted(self.complete("")), sorted(commands + ["help"]))
        for command in ("tag", "sale-check", "watch"):
            help_text = self.program("lugmark", command, "--help").stdout
            options = re.findall(r"(?m)^  (?:-., |    )(--[a-z0-9-]+)", help_text)
            self.assertEqual(sorted(self.complete(command, "--")), sorted(options), command)


class Gone(unittest.TestCase):
    def test_uninstall_takes_away_exactly_what_was_installed(self):
        with tempfile.TemporaryDirectory(prefix="lugmark-gone-") as dest:
            make("install", dest=dest)
            somebodys = os.path.join(dest + PREFIX, "bin/another-program")
            with open(somebodys, "w", encoding="utf-8"):
                pass
            make("uninstall", dest=dest)
            self.assertEqual(Installed.files(dest), [PREFIX + "/bin/another-program"])
            left = [os.path.join(f, d) for f, dirs, _ in os.walk(dest) for d in dirs]
            self.assertEqual([d for d in left if "lugmark" in os.path.basename(d)], [])


if __name__ == "__main__":
    tap.main()
