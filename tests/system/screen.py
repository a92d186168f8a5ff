"""A program on a pseudo-terminal, and what its screen shows."""
import fcntl
import os
import re
import select
import struct
import subprocess
import termios
import time

ESCAPE = re.compile(r"\x1b\[([?0-9;]*)([A-Za-z])")


class Screen:
    def __init__(self, argv, env, rows=24, columns=80):
        self.rows, self.columns = rows, columns
        self.master, self.slave = os.openpty()
        self.size(rows, columns)
        self.before = termios.tcgetattr(self.slave)
        self.raw = b""
        self.process = subprocess.Popen(argv, env=env, stdin=self.slave, stdout=self.slave,
                                        stderr=self.slave, start_new_session=True,
                                        preexec_fn=lambda: fcntl.ioctl(0, termios.TIOCSCTTY, 0))

    def size(self, rows, columns):
        self.rows, self.columns = rows, columns
        fcntl.ioctl(self.slave, termios.TIOCSWINSZ, struct.pack("HHHH", rows, columns, 0, 0))

    def pump(self, seconds=0.05):
        while select.select([self.master], [], [], seconds)[0]:
            self.raw += os.read(self.master, 65536)
            seconds = 0.01

    def lines(self):
        """What stands on the screen now, row by row."""
        self.pump()
        grid = [[" "] * self.columns for _ in range(self.rows)]
        row = column = at = 0
        text = self.raw.decode("utf-8", "replace")
        while at < len(text):
            found = ESCAPE.match(text, at)
            if found:
                at = found.end()
                values, what = found.groups()
                if what == "H":
                    row, column = (int(v) - 1 for v in (values or "1;1").split(";"))
                elif what == "K" and row < self.rows:
                    grid[row][column:] = [" "] * (self.columns - column)
                elif what == "J":
                    grid = [[" "] * self.columns for _ in range(self.rows)]
                continue
            if text[at] == "\r":
                column = 0
            elif text[at] == "\n":
                row += 1
            elif text[at] >= " ":
                if row < self.rows and column < self.columns:
                    grid[row][column] = text[at]
                column += 1
            at += 1
        return ["".join(cells).rstrip() for cells in grid]

    def shows(self, *parts):
        text = "\n".join(self.lines())
        return all(part in text for part in parts)

    def until(self, *parts, seconds=20):
        end = time.monotonic() + seconds
        while not self.shows(*parts):
            if time.monotonic() > end:
                raise AssertionError(f"{parts} never came:\n" + "\n".join(self.lines()))
        return self.lines()

    def bells(self):
        self.pump()
        return self.raw.count(b"\a")

    def restored(self):
        """Whether the terminal is as it was: its settings, its cursor, its first screen."""
        self.pump()
        after = termios.tcgetattr(self.slave)
        return after == self.before and self.raw.rstrip().endswith(b"\x1b[?25h\x1b[?1049l")

    def close(self):
        if self.process.poll() is None:
            self.process.kill()
        self.process.wait()
        os.close(self.master)
        os.close(self.slave)
