"""Small things: telegrams out of bits, cold starts, and how many instructions an animal costs."""
import os
import re
import shutil
import statistics
import subprocess
import time

import own
import reconcile


def codec(build, row):
    took = [float(x) for x in subprocess.run([f"{build}/bench/codec", "11"], check=True, text=True,
                                             stdout=subprocess.PIPE).stdout.split()]
    for name, t, goal in (("clean", took[0:3], "<= 2"), ("50 % noise", took[3:6], "-")):
        decode, crc, copy = t
        row(f"FDX-B out of a bit stream, {name}", f"{decode:.0f} ns/16 B", f"CRC alone {crc:.0f} ns",
            decode / crc, goal, decode <= 2 * crc if goal != "-" else None)
        row("", f"{decode:.0f} ns/16 B", f"memcpy {copy:.1f} ns", decode / copy, "-", None)


def cold(build, directory, row):
    spawn = [f"{build}/bench/spawn", "200"]
    out = subprocess.run([*spawn, "/bin/true", "--", f"{build}/lugmark", "decode",
                          "999000000012345"], check=True, text=True, stdout=subprocess.PIPE).stdout
    true, decode = (float(x) for x in out.split())
    row("cold start of lugmark decode", f"{decode:.2f} ms", f"/bin/true {true:.2f} ms",
        decode / true, "<= 2", decode <= 2 * true)
    ours, peer = [], []
    env = dict(os.environ, LUGMARK_DB=f"{directory}/cold.db", LUGMARK_SOCKET=f"{directory}/cold.s")
    subprocess.run([f"{build}/lugmark", "init"], env=env, check=True, stdout=subprocess.DEVNULL,
                   stderr=subprocess.DEVNULL)
    for _ in range(25):
        ours.append(ready(build, env))
        peer.append(float(subprocess.run([f"{build}/bench/spawn", "1", "sqlite3", ":memory:",
                                          ".quit"], check=True, text=True,
                                         stdout=subprocess.PIPE).stdout))
    a, b = statistics.median(ours) * 1e3, statistics.median(peer)
    row("cold start of the daemon, to its socket", f"{a:.2f} ms", f"sqlite3 .quit {b:.2f} ms",
        a / b, "<= 3", a <= 3 * b)


def ready(build, env):
    """Seconds from the start of the daemon until its socket is there."""
    sock = env["LUGMARK_SOCKET"]
    begin = time.monotonic()
    daemon = subprocess.Popen([f"{build}/lugmarkd"], env=env, stderr=subprocess.DEVNULL,
                              start_new_session=True)  # not own.start(): that forks more slowly
    try:
        while not os.path.exists(sock):
            if daemon.poll() is not None or time.monotonic() > begin + 20:
                raise SystemExit("bench: the daemon did not come up")
            time.sleep(0.0001)
        took = time.monotonic() - begin
    finally:
        own.end(daemon)
    if os.path.exists(sock):
        os.remove(sock)
    return took


def instructions(argv, env, out):
    done = subprocess.run(["valgrind", "--tool=callgrind", f"--callgrind-out-file={out}", *argv],
                          env=env, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True,
                          check=False)
    return int(re.search(r"Collected : (\d+)", done.stderr).group(1))


def counts(build, directory, row):
    """By difference: twice as many animals, twice as many readings, nothing else."""
    if not shutil.which("valgrind"):
        row("instructions an animal, a reading", "", "no valgrind here", None, "-", None)
        return
    small, big = (reconcile.flock_of(directory, n) for n in (10000, 20000))
    for way in ("quick", "plain"):
        env = dict(os.environ, LUGMARK_WAY=way)
        n = [instructions([f"{build}/lugmark", "reconcile", "--register", a[0], "--readings", b[1]],
                          env, f"{directory}/callgrind.out")
             for a, b in ((small, small), (big, small), (big, big))]
        row(f"instructions an animal with its reading, {way} way",
            f"{(n[2] - n[0]) / 10000:,.0f}", "", None, "-", None)
    row("  of these a reading", f"{(n[2] - n[1]) / 10200:,.0f}", "", None, "-", None)


def bench(build, directory, row):
    codec(build, row)
    cold(build, directory, row)
    counts(build, directory, row)
