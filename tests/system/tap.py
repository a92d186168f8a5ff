"""Run unittest cases and print TAP, so that tests/run can count them."""
import os
import sys
import unittest


class TapResult(unittest.TestResult):
    def __init__(self):
        super().__init__()
        self.number = 0

    def _say(self, good, test, note=""):
        self.number += 1
        print(f"{'ok' if good else 'not ok'} {self.number} - {test.id()}{note}", flush=True)

    def addSuccess(self, test):
        super().addSuccess(test)
        self._say(True, test)

    def addError(self, test, err):
        super().addError(test, err)
        self._say(False, test)
        print(self._exc_info_to_string(err, test), flush=True)

    def addFailure(self, test, err):
        super().addFailure(test, err)
        self._say(False, test)
        print(self._exc_info_to_string(err, test), flush=True)

    def addSkip(self, test, reason):
        super().addSkip(test, reason)
        self._say(True, test, f" # SKIP {reason}")


def left_out():
    """What is not to be run this time, such as under valgrind, and why: FILE.CLASS.TEST: reason."""
    if "LUGMARK_LEFT" not in os.environ:
        return {}
    with open(os.environ["LUGMARK_LEFT"], encoding="utf-8") as lines:
        return dict(line.strip().split(": ", 1) for line in lines if not line.startswith("#"))


def without(suite, left):
    """Those tests say that they are skipped."""
    name = os.path.basename(sys.argv[0])[:-3]
    for test in suite:
        if isinstance(test, unittest.TestSuite):
            without(test, left)
        elif (reason := left.get(test.id().replace("__main__", name, 1))) is not None:
            test.setUp = lambda test=test, reason=reason: test.skipTest(reason)


def main():
    names = sys.argv[1:]
    loader = unittest.defaultTestLoader
    module = sys.modules["__main__"]
    suite = loader.loadTestsFromNames(names, module) if names else loader.loadTestsFromModule(module)
    without(suite, left_out())
    print(f"1..{suite.countTestCases()}")
    result = TapResult()
    suite.run(result)
    sys.exit(0 if result.wasSuccessful() else 1)
