"""Explanations of inputs that no yard would give: an answer, in bounded time and memory."""
import random
import resource
import time

import tap
from cli import CliTest

SECONDS = 60        # a debug build on a busy machine; release needs about a twentieth
MEMORY = 2 << 30    # the sanitizers' own included; not their reserved addresses


def code(n):
    return f"999{n:012d}"


class Bad(CliTest):
    N = 3000

    def told(self, numbers, reads, calls, **more):
        self.write("r.csv", "animal,eid,visual\n" + "".join(
            f"A{k},{code(k)},{v}\n" for k, v in enumerate(numbers, 1)))
        self.write("c.csv", "eid\n" + "".join(f"{c}\n" for c in reads))
        self.write("s.csv", "visual,with\n" + "".join(f'"{v}",{w}\n' for v, w in calls))
        before = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss
        begin = time.monotonic()
        found = self.json("reconcile", "--register", "r.csv", "--readings", "c.csv",
                          "--sightings", "s.csv", "--explain", exit_code=1)
        self.assertLess(time.monotonic() - begin, SECONDS)
        peak = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss
        self.assertLess(peak * 1024, MEMORY, before)
        for e in found["explanations"]:
            self.assertTrue(e["because"] and 0 < e["probability"] < 1, e)
        return found["explanations"]

    def covered(self, told):
        return {a for e in told for a in e["animals"]}

    def numbers(self):
        return [f"{k:05d}" for k in range(1, self.N + 1)]

    def test_every_number_the_same(self):
        new = [code(10 ** 6 + k) for k in range(self.N)]
        told = self.told(["7"] * self.N, new, [("7" if k % 3 else "1", c)
                                               for k, c in enumerate(new)])
        self.assertEqual(len(self.covered(told)), self.N)
        # nothing tells one from another: no answer about a code may be sure
        self.assertFalse([e for e in told if e["kind"] == "new-device" and e["probability"] > .5])

    def test_all_missing(self):
        told = self.told(self.numbers(), [], [])
        self.assertEqual(len(self.covered(told)), self.N)

    def test_all_codes_unmatched(self):
        new = [code(10 ** 6 + k) for k in range(self.N)]
        told = self.told(self.numbers(), new, [])
        self.assertEqual(len(self.covered(told)), self.N)
        self.assertEqual(len({c for e in told for c in e["eid"]}), self.N)
        self.assertFalse([e for e in told if e["kind"] == "new-device"])

    def test_every_call_is_anothers(self):
        numbers = self.numbers()
        mixed = numbers[:]
        random.Random(3).shuffle(mixed)
        told = self.told(numbers, [code(k) for k in range(1, self.N + 1)],
                         [(v, code(k)) for k, v in enumerate(mixed, 1)])
        wrong = {code(k) for k in range(1, self.N + 1) if mixed[k - 1] != numbers[k - 1]}
        self.assertEqual({c for e in told for c in e["eid"]} & wrong, wrong)

    def test_texts(self):
        texts = ["\u043a\u043e\u0437\u0430", "\u5c71\u7f8a 12", "8" * 127, "0" * 127, "-0417-", "%s%n",
                 "O417", "\u0660\u0664\u0661\u0667", "=1+1", "0417 or 0471"]
        told = self.told(["0417", "0471", "8" * 126, "\u043a\u043e\u0437\u044b"], [],
                         [(t, "") for t in texts])
        self.assertEqual(len(self.covered(told)), 4)
        self.assertTrue(any(e["sighting"] == "8" * 127 for e in told))

    def test_too_long_and_empty_texts_are_told(self):
        self.write("r.csv", f"animal,eid,visual\nA1,{code(1)},0417\n")
        for text, what in (("x" * 200, "127 bytes"), ("", None), (" ", None)):
            self.write("s.csv", f'visual,with\n"{text}",\n')
            args = ["reconcile", "--register", "r.csv", "--sightings", "s.csv", "--explain"]
            if what:
                self.assertIn(what, self.bad(*args))
            else:
                self.assertIn("A1", self.good(*args, exit_code=1))


if __name__ == "__main__":
    tap.main()
