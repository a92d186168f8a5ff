"""Running lugmark in an empty folder of its own."""
import json
import os
import shutil
import subprocess
import tempfile
import unittest

BUILD = os.environ["LUGMARK_BUILD"]
LUGMARK = os.path.join(BUILD, "lugmark")
SLOW = float(os.environ.get("LUGMARK_SLOW", "1"))     # as in yard.py


class CliTest(unittest.TestCase):
    def setUp(self):
        self.dir = tempfile.mkdtemp(prefix="lugmark-cli-")
        self.addCleanup(shutil.rmtree, self.dir)
        self.env = {k: v for k, v in os.environ.items()
                    if not k.startswith(("LUGMARK_", "XDG_"))}
        self.env.update(HOME=self.dir, LUGMARK_DB=self.path("register.db"),
                        LUGMARK_SOCKET=self.path("none.sock"), LC_ALL="C.UTF-8", TZ="UTC")

    def path(self, name):
        return os.path.join(self.dir, name)

    def write(self, name, text):
        with open(self.path(name), "wb") as out:
            out.write(text if isinstance(text, bytes) else text.encode())
        return name

    def text(self, name):
        with open(self.path(name), "rb") as got:
            return got.read().decode()

    def run_(self, *args, stdin=None, env=None):
        """Run; the done process with text, sanitizer reports refused."""
        done = subprocess.run([LUGMARK, *args], cwd=self.dir, timeout=120 * SLOW,
                              env=dict(self.env, **(env or {})),
                              input=None if stdin is None else
                              stdin if isinstance(stdin, bytes) else stdin.encode(),
                              stdin=subprocess.DEVNULL if stdin is None else None,
                              stdout=subprocess.PIPE, stderr=subprocess.PIPE, check=False)
        done.stdout, done.stderr = done.stdout.decode(), done.stderr.decode()
        for bad in ("Sanitizer", "runtime error"):
            self.assertNotIn(bad, done.stderr)
        self.assertNotIn("compliant", done.stdout + done.stderr)
        return done

    def good(self, *args, exit_code=0, **more):
        """Run and expect this exit status. The standard output."""
        done = self.run_(*args, **more)
        self.assertEqual(done.returncode, exit_code, (args, done.stdout, done.stderr))
        return done.stdout

    def bad(self, *args, exit_code=3, **more):
        """Run and expect this failure with nothing on standard output. The standard error."""
        done = self.run_(*args, **more)
        self.assertEqual(done.returncode, exit_code, (args, done.stdout, done.stderr))
        self.assertEqual(done.stdout, "", args)
        self.assertTrue(done.stderr)
        return done.stderr

    def json(self, *args, exit_code=0, **more):
        return json.loads(self.good(*args, "--json", exit_code=exit_code, **more))
