"""The text itself keeps its habits: layers, doc comments, reading order, the page of JSON keys."""
import os
import subprocess
import unittest

import tap

ROOT = os.path.dirname(os.path.dirname(os.path.dirname(os.path.abspath(__file__))))


class Habits(unittest.TestCase):
    def holds(self, *argv):
        done = subprocess.run(argv, cwd=ROOT, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE,
                              stderr=subprocess.STDOUT, timeout=300, check=False)
        self.assertEqual(done.returncode, 0, done.stdout.decode("utf-8", "replace"))

    def test_layers(self):
        self.holds("./tests/check-layers")

    def test_doc_comments(self):
        self.holds("./tests/habits/doc-comments")

    def test_reading_order(self):
        self.holds("./tests/habits/reading-order")

    def test_page_of_json_keys(self):
        self.holds("./tests/system/protocol.py", "check")


if __name__ == "__main__":
    tap.main()
