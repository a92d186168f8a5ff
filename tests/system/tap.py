"""Run unittest cases and print TAP, so that tests/run can count them."""
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


def main():
    names = sys.argv[1:]
    loader = unittest.defaultTestLoader
    module = sys.modules["__main__"]
    suite = loader.loadTestsFromNames(names, module) if names else loader.loadTestsFromModule(module)
    print(f"1..{suite.countTestCases()}")
    result = TapResult()
    suite.run(result)
    sys.exit(0 if result.wasSuccessful() else 1)
