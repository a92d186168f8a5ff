"""What a bench starts ends with it: a daemon that is left behind holds ports that others are given."""
import contextlib
import ctypes
import os
import signal
import subprocess

LIBC = ctypes.CDLL(None)
PR_SET_PDEATHSIG = 1
PATIENCE_S = 20


def ends_with_us():
    LIBC.prctl(PR_SET_PDEATHSIG, ctypes.c_ulong(signal.SIGKILL))


def start(argv, **more):
    """In a process group of its own, so that end() reaches what it starts in turn."""
    return subprocess.Popen(argv, preexec_fn=ends_with_us, start_new_session=True, **more)


def end(process):
    if process.poll() is None:
        process.terminate()
        with contextlib.suppress(subprocess.TimeoutExpired):
            process.wait(PATIENCE_S)
    with contextlib.suppress(ProcessLookupError):
        os.killpg(process.pid, signal.SIGKILL)
    return process.wait()


@contextlib.contextmanager
def running(argv, **more):
    process = start(argv, **more)
    try:
        yield process
    finally:
        end(process)


def say(argv, seconds=300, **more):
    """What a program prints; it must end well, and in time."""
    with running(argv, stdout=subprocess.PIPE, text=True, **more) as process:
        text = process.communicate(timeout=seconds)[0]
        if process.returncode != 0:
            raise subprocess.CalledProcessError(process.returncode, argv)
        return text
