"""The text itself keeps its habits: layers, format, clang-tidy, doc comments, reading order, JSON keys."""
import os
import re
import shutil
import subprocess
import unittest

import tap

ROOT = os.path.dirname(os.path.dirname(os.path.dirname(os.path.abspath(__file__))))


class Habits(unittest.TestCase):
    def said(self, *argv):
        done = subprocess.run(argv, cwd=ROOT, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE,
                              stderr=subprocess.STDOUT, timeout=300, check=False)
        return done.returncode, done.stdout.decode("utf-8", "replace")

    def holds(self, *argv):
        code, text = self.said(*argv)
        self.assertEqual(code, 0, text)

    def test_layers(self):
        self.holds("./tests/check-layers")

    def test_format(self):
        """By the version that the sources are formatted with: others disagree among themselves."""
        if shutil.which("clang-format") is None:
            self.skipTest("clang-format is not installed")
        version = self.said("clang-format", "--version")[1]
        if not re.search(r"version 14\.", version):
            self.skipTest(f"the sources are formatted with clang-format 14, here is {version.strip()}")
        self.holds("make", "--no-print-directory", "format-check")

    def test_tidy(self):
        """What changed since `make tidy`, for a minute; what that is too short for is no pass."""
        code, text = self.said("./tests/tidy/run", "--within", "60")
        if code == 3:
            self.skipTest(text.strip())
        self.assertEqual(code, 0, text)

    def test_doc_comments(self):
        self.holds("./tests/habits/doc-comments")

    def test_reading_order(self):
        self.holds("./tests/habits/reading-order")

    def test_page_of_json_keys(self):
        self.holds("./tests/system/protocol.py", "check")


if __name__ == "__main__":
    tap.main()
