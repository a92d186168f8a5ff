"""The udev rules: their syntax, what they rest on, and what they must not do."""
import os
import re
import shutil
import subprocess
import unittest

import tap

ROOT = os.path.dirname(os.path.dirname(os.path.dirname(os.path.abspath(__file__))))
UDEV = os.path.join(ROOT, "udev")
RULES = os.path.join(UDEV, "62-lugmark.rules")
BLACKLIST = os.path.join(UDEV, "blacklist-nfc.conf.example")

# udev(7): which keys compare, which assign, which need a {name}
COMPARE = {"ACTION", "DEVPATH", "KERNEL", "KERNELS", "NAME", "SYMLINK", "SUBSYSTEM", "SUBSYSTEMS",
           "DRIVER", "DRIVERS", "TAG", "TAGS", "RESULT"}
COMPARE_NAMED = {"ATTR", "ATTRS", "SYSCTL", "ENV", "CONST", "TEST", "IMPORT", "PROGRAM"}
ASSIGN = {"NAME", "OWNER", "GROUP", "MODE", "LABEL", "GOTO"}  # one value: not +=
ASSIGN_LIST = {"SYMLINK", "TAG", "OPTIONS"}
ASSIGN_NAMED = {"ATTR", "SYSCTL", "ENV", "SECLABEL", "RUN", "IMPORT"}
EFFECTS = {"OWNER", "GROUP", "MODE", "SYMLINK", "ENV", "ATTR", "RUN", "TAG", "NAME", "SECLABEL",
           "SYSCTL", "OPTIONS", "PROGRAM"}
PAIR = re.compile(r'\s*([A-Z]+)(?:\{([^}"]+)\})?\s*(==|!=|\+=|-=|:=|=)\s*"((?:[^"\\]|\\.)*)"\s*')
SUBSTITUTE = re.compile(r"\$(?:kernel|number|devpath|id|driver|major|minor|parent|name|links|root|"
                        r"sys|devnode|result|env\{\w+\}|attr\{\w+\})|%[knpbMmPrScNE%]")
GENERIC = {("0403", "6001"), ("10c4", "ea60"), ("1a86", "7523"), ("067b", "2303")}


class Bad(ValueError):
    pass


def logical_lines(text):
    """(number, line, the comment right above it); lines that end in a backslash are joined."""
    comment, joined, first = [], "", 0
    for number, line in enumerate(text.split("\n"), 1):
        if not joined and (not line.strip() or line.lstrip().startswith("#")):
            comment = comment + [line.lstrip("# ")] if line.strip() else []
            continue
        if joined and line.lstrip().startswith("#"):
            raise Bad(f"{number}: a comment inside a rule that goes on")
        first = first if joined else number
        joined += line
        if joined.endswith("\\"):
            joined = joined[:-1]
            continue
        yield first, joined, " ".join(comment)
        comment, joined = [], ""
    if joined:
        raise Bad(f"{first}: the last rule goes on for ever")


def check_pair(number, key, name, op, value):
    compares = op in ("==", "!=")
    named = (COMPARE_NAMED if compares else ASSIGN_NAMED)
    plain = (COMPARE | {"TEST", "PROGRAM"} if compares else ASSIGN | ASSIGN_LIST | {"PROGRAM", "RUN"})
    if name is None and key not in plain or name is not None and key not in named:
        raise Bad(f"{number}: {key}{'{}' if name else ''} does not go with {op}")
    if op == "+=" and key in ASSIGN or op == "-=" and key not in ASSIGN_LIST | {"ENV"}:
        raise Bad(f"{number}: {key} takes no {op}")
    if key == "MODE" and not re.fullmatch("0[0-7]{3}", value):
        raise Bad(f"{number}: MODE {value} is no mode")
    if key in ("GROUP", "OWNER") and not re.fullmatch("[a-z][a-z0-9-]*", value):
        raise Bad(f"{number}: {key} {value} is no name")
    if name in ("idVendor", "idProduct") and not re.fullmatch("[0-9a-f]{4}", value):
        raise Bad(f"{number}: an id is four small hexadecimal digits, not {value}")
    if not compares and re.search(r"[$%]", SUBSTITUTE.sub("", value)):
        raise Bad(f"{number}: {value} has a $ or % that stands for nothing")
    if key == "SYMLINK" and re.search(r"[^\w/:.$%{}@=,+-]|^/|\.\.", value):
        raise Bad(f"{number}: {value} is no name below /dev")


def parse(text):
    """[(number, [(key, name, operator, value)], comment)], or Bad."""
    rules = []
    for number, line, comment in logical_lines(text):
        pairs, at = [], 0
        while at < len(line.rstrip()):
            found = PAIR.match(line, at)
            if not found:
                raise Bad(f"{number}: not a key, an operator and a value in quotes: {line[at:]}")
            check_pair(number, *found.groups())
            pairs.append(found.groups())
            at = found.end()
            if at < len(line.rstrip()):
                if line[at] != ",":
                    raise Bad(f"{number}: a comma is missing before {line[at:]}")
                at += 1
                if not line[at:].strip():
                    raise Bad(f"{number}: a comma after the last")
        rules.append((number, pairs, comment))
    check_jumps(rules)
    return rules


def check_jumps(rules):
    """GOTO goes forward to a LABEL that is there once, and to no other."""
    labels, wanted = {}, {}
    for number, pairs, _ in rules:
        for key, _, _, value in pairs:
            if key == "LABEL":
                if value in labels:
                    raise Bad(f"{number}: a second LABEL {value}")
                labels[value] = number
            elif key == "GOTO":
                wanted.setdefault(value, []).append(number)
    for label, numbers in wanted.items():
        for number in numbers:
            if labels.get(label, 0) <= number:
                raise Bad(f"{number}: GOTO {label} goes nowhere")
    if set(labels) - set(wanted):
        raise Bad(f"a LABEL that nobody goes to: {set(labels) - set(wanted)}")


def ids(pairs):
    return tuple(next((v for k, n, o, v in pairs if k in ("ATTR", "ATTRS") and n == name
                       and o == "=="), None) for name in ("idVendor", "idProduct"))


def examples(text):
    """The rules that are commented out, as they would be."""
    return "\n".join(re.sub("^#", "", line) if re.match(r"#(ATTRS|  \S+=)", line) else line
                     for line in text.split("\n"))


def read(path):
    with open(path, encoding="utf-8") as file:
        return file.read()


def effective(rules):
    return [(number, pairs, comment) for number, pairs, comment in rules
            if any(k in EFFECTS and o not in ("==", "!=") for k, _, o, _ in pairs)]


class Rules(unittest.TestCase):
    def check(self, rules):
        """What every rule that does something must have."""
        for number, pairs, comment in rules:
            where = f"line {number}"
            self.assertRegex(comment, r"Evidence: \S.{20,}", where)
            self.assertNotIn(None, ids(pairs), where)
            done = {(k, n): v for k, n, o, v in pairs if o in ("=", "+=", ":=")}
            self.assertEqual(done.pop(("ENV", "ID_MM_DEVICE_IGNORE")), "1", where)
            self.assertIn(done.pop(("GROUP", None)), ("plugdev", "dialout"), where)
            self.assertEqual(done.pop(("MODE", None)), "0660", where)
            link = done.pop(("SYMLINK", None))
            self.assertTrue(link.startswith("lugmark/") and "$env{ID_PATH}" in link, where)
            # who sits at the machine may run lugmark-nfc by hand
            self.assertIn(done.pop(("TAG", None), "uaccess"), ("uaccess",), where)
            self.assertEqual(done, {}, f"{where} does more than a rule here may")
            self.assertIn(("SYMLINK", None, "+=", link), pairs, where)

    def test_every_active_rule_has_evidence_and_a_stable_name(self):
        rules = effective(parse(read(RULES)))
        self.assertGreaterEqual(len(rules), 5)
        self.check(rules)
        known = [ids(pairs) for _, pairs, _ in rules]
        self.assertEqual(len(known), len(set(known)))

    def test_generic_converters_are_examples_only(self):
        text = read(RULES)
        active = {ids(pairs) for _, pairs, _ in effective(parse(text))}
        self.assertEqual(active & GENERIC, set())
        uncommented = effective(parse(examples(text)))
        self.check(uncommented)
        self.assertEqual({ids(pairs) for _, pairs, _ in uncommented}, active | GENERIC)

    def test_no_rule_touches_a_device_before_its_ids_are_asked_for(self):
        for number, pairs, _ in parse(read(RULES)):
            kinds = {k for k, _, o, _ in pairs if o not in ("==", "!=")}
            if kinds & EFFECTS:
                continue
            self.assertLessEqual(kinds, {"GOTO", "LABEL", "IMPORT"}, f"line {number}")

    def test_the_systems_own_checker(self):
        """Where udevadm can verify it must be content; elsewhere our parser is what there is."""
        udevadm = shutil.which("udevadm") or "/bin/udevadm"
        can = os.path.exists(udevadm) and subprocess.run(
            [udevadm, "verify", "--help"], capture_output=True).returncode == 0
        if can:
            done = subprocess.run([udevadm, "verify", "--no-style", "--resolve-names=never", RULES],
                                  capture_output=True, text=True)
            self.assertEqual(done.returncode, 0, done.stdout + done.stderr)
        else:
            parse(read(RULES))

    def test_the_file_sorts_where_it_must(self):
        names = [n for n in os.listdir(UDEV) if n.endswith(".rules")]
        self.assertEqual(names, ["62-lugmark.rules"])
        self.assertNotIn("\r", read(RULES))
        self.assertTrue(read(RULES).endswith("\n"))


class Parser(unittest.TestCase):
    """The parser refuses what udev would."""

    GOOD = ('KERNEL=="tty*" , ATTRS{idVendor}=="0403", \\\n  MODE="0660"\n',
            'ACTION!="add|change", GOTO="end"\n# a comment\n\nSYMLINK+="a/$env{ID_PATH}-%n"\n'
            'LABEL="end"\n')
    BAD = ('KERNEL="tty*"\n', 'ATTRS{idVendor}="0403"\n', 'MODE=="0660"\n', 'MODE="660"\n',
           'MODE="0980"\n', 'GROUP+="dialout"\n', 'GROUP="a group"\n', 'ATTRS=="0403"\n',
           'ATTRS{idVendor}=="0403" MODE="0660"\n', 'ATTRS{idVendor}=="403"\n',
           'ATTRS{idVendor}=="10C4"\n', 'GOTO="nowhere"\n', 'LABEL="a"\nGOTO="a"\n',
           'LABEL="unused"\n', 'KERNEL=="tty*\n', 'KERNEL==tty*\n', 'KERNEL=="a",\n',
           'COLOUR="red"\n', 'SYMLINK+="lugmark/$env(ID_PATH)"\n', 'SYMLINK+="/dev/x"\n',
           'SYMLINK+="../x"\n', 'SYMLINK+="two names"\n', 'MODE="0660", \\\n',
           'MODE="0660", \\\n# not here\n  GROUP="dialout"\n',
           'GOTO="a"\nLABEL="a"\nLABEL="a"\n', 'ENV{A}=="1", , MODE="0660"\n')

    def test_good(self):
        for text in self.GOOD:
            self.assertTrue(parse(text), text)

    def test_bad(self):
        for text in self.BAD:
            with self.assertRaises(Bad, msg=text):
                parse(text)

    def test_rules_that_lack_something_are_seen(self):
        check = Rules().check
        text = read(RULES)
        check(effective(parse(text)))
        for part in ("Evidence: ", 'ENV{ID_MM_DEVICE_IGNORE}="1", ', "$env{ID_PATH}", "-$env{ID",
                     ' GROUP="plugdev",', ' MODE="0660",', 'ATTR{idVendor}=="04cc", '):
            self.assertIn(part, text)
            with self.assertRaises((AssertionError, KeyError, Bad), msg=part):
                check(effective(parse(text.replace(part, "", 1))))


class Blacklist(unittest.TestCase):
    def test_it_is_an_example_of_three_modules(self):
        lines = [line for line in read(BLACKLIST).splitlines() if line and line[0] != "#"]
        self.assertEqual(sorted(lines), ["blacklist nfc", "blacklist pn533", "blacklist pn533_usb"])
        self.assertIn("Evidence: ", read(BLACKLIST))
        # modprobe reads only names that end in .conf
        self.assertEqual([n for n in os.listdir(UDEV) if n.endswith(".conf")], [])

    def test_it_is_installed_as_an_example_only(self):
        done = subprocess.run(["make", "-s", "-C", ROOT, "list-installed"], capture_output=True,
                              text=True, timeout=120)
        self.assertEqual(done.returncode, 0, done.stderr)
        self.assertIn("/62-lugmark.rules\n", done.stdout)
        self.assertNotIn("modprobe", done.stdout)
        for place in done.stdout.split():
            if "blacklist" in place:
                self.assertRegex(place, r"/share/doc/lugmark/examples/[^/]*\.example$")


class Readme(unittest.TestCase):
    def test_three_lines(self):
        lines = read(os.path.join(UDEV, "README")).splitlines()
        self.assertEqual(len(lines), 3)
        for line, begin in zip(lines, ("What lives here", "What may not", "Where to start")):
            self.assertTrue(line.startswith(begin))


if __name__ == "__main__":
    tap.main()
