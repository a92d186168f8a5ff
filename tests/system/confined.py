#!/usr/bin/env python3
"""Run a program under the limits of lugmarkd.service that a service manager is not needed for.

usage: confined.py UNIT GROUP PROGRAM [ARGUMENT...]

System calls (SystemCallFilter=, MemoryDenyWriteExecute=, RestrictAddressFamilies=) by a filter of our
own, no new privileges, no capabilities; as root also another user with GROUP as its only further
group, in a user namespace of its own as PrivateUsers= makes it. Not imitated: the file system, the
device list and the network of a control group.
"""
import ctypes
import os
import platform
import re
import struct
import subprocess
import sys

LIBC = ctypes.CDLL(None, use_errno=True)
PR_SET_NO_NEW_PRIVS, PR_CAPBSET_DROP, PR_SET_SECCOMP = 38, 24, 22
CLONE_NEWUSER = 0x10000000
NOBODY = 65534
NO_NAMESPACE = "no user namespace can be made here"  # a chroot, or a kernel told not to
LOAD, AND, JEQ, JSET, RET = 0x20, 0x54, 0x15, 0x45, 0x06
ALLOW, REFUSE = 0x7FFF0000, 0x00050001  # SECCOMP_RET_ERRNO with EPERM
NUMBER, ARCH = 0, 4
PROT_WRITE, PROT_EXEC = 2, 4


def check(result, what):
    if result < 0:
        sys.exit(f"confined: {what}: {os.strerror(ctypes.get_errno())}")


def argument(n):
    return 16 + 8 * n


def machine():
    """Audit number and header of system calls of this machine, or None."""
    places = {"x86_64": (0xC000003E, "/usr/include/x86_64-linux-gnu/asm/unistd_64.h"),
              "aarch64": (0xC00000B7, "/usr/include/asm-generic/unistd.h")}
    return places.get(platform.machine())


def numbers():
    with open(machine()[1], encoding="utf-8") as header:
        return {m.group(1): int(m.group(2))
                for m in re.finditer(r"(?m)^#define __NR_(\w+)\s+(\d+)$", header.read())}


def group(name, seen=()):
    """The calls of a set such as @system-service."""
    if not name.startswith("@"):
        return {name}
    text = subprocess.run(["systemd-analyze", "--no-pager", "syscall-filter", name],
                          capture_output=True, text=True, check=True).stdout
    names = {x.strip() for x in text.splitlines()[1:] if x.strip() and not x.strip().startswith("#")}
    out = set()
    for n in names:
        if n not in seen:
            out |= group(n, (*seen, name))
    return out


def setting(unit, key):
    with open(unit, encoding="utf-8") as text:
        return re.findall(rf"(?m)^{key}=(.*)$", text.read())


def allowed(unit):
    calls = set()
    for line in setting(unit, "SystemCallFilter"):
        sets = [group(w) for w in line.lstrip("~").split()]
        calls = calls - set().union(*sets) if line.startswith("~") else calls | set().union(*sets)
    # As the service manager does: what every program needs stays.
    return calls | group("@default") | {"execve"}


def program(unit):
    """The filter, as the kernel takes it."""
    table, code = numbers(), []

    def add(op, k, jt=0, jf=0):
        code.append(struct.pack("HBBI", op, jt, jf, k))

    def only_if(call, body):
        add(LOAD, NUMBER)
        add(JEQ, table[call], 0, len(body))
        code.extend(body)

    def packed(*rows):
        return [struct.pack("HBBI", op, jt, jf, k) for op, k, jt, jf in rows]

    add(LOAD, ARCH)
    add(JEQ, machine()[0], 1, 0)
    add(RET, REFUSE)
    if setting(unit, "MemoryDenyWriteExecute") == ["yes"]:
        both = PROT_WRITE | PROT_EXEC
        only_if("mmap", packed((LOAD, argument(2), 0, 0), (AND, both, 0, 0), (JEQ, both, 0, 1),
                               (RET, REFUSE, 0, 0)))
        only_if("mprotect", packed((LOAD, argument(2), 0, 0), (JSET, PROT_EXEC, 0, 1),
                                   (RET, REFUSE, 0, 0)))
    families = {"AF_UNIX": 1, "AF_INET": 2, "AF_INET6": 10}
    may = [families[w] for line in setting(unit, "RestrictAddressFamilies") for w in line.split()]
    rows = [(LOAD, argument(0), 0, 0)]
    rows += [(JEQ, f, len(may) - i, 0) for i, f in enumerate(may)]
    only_if("socket", packed(*rows, (RET, REFUSE, 0, 0)))
    for name in sorted(allowed(unit)):
        if name in table:
            add(LOAD, NUMBER)
            add(JEQ, table[name], 0, 1)
            add(RET, ALLOW)
    add(RET, REFUSE)
    return b"".join(code)


def be_somebody(gid):
    """Another user in a user namespace that knows root and that user alone."""
    os.setgroups([gid])
    ready, go = os.pipe(), os.pipe()
    me = os.getpid()
    if os.fork() == 0:  # stays outside, with the right to write the maps
        os.close(ready[1])
        if not os.read(ready[0], 1):
            os._exit(1)
        for kind in ("uid", "gid"):
            with open(f"/proc/{me}/{kind}_map", "w", encoding="utf-8") as out:
                out.write(f"0 0 1\n{NOBODY} {NOBODY} 1\n")
        os.write(go[1], b"x")
        os._exit(0)
    check(LIBC.unshare(CLONE_NEWUSER), NO_NAMESPACE)
    os.write(ready[1], b"x")
    os.read(go[0], 1)
    os.wait()
    for fd in (*ready, *go):
        os.close(fd)
    os.setresgid(NOBODY, NOBODY, NOBODY)
    for capability in range(64):
        LIBC.prctl(PR_CAPBSET_DROP, capability, 0, 0, 0)
    os.setresuid(NOBODY, NOBODY, NOBODY)


def main():
    unit, gid, argv = sys.argv[1], int(sys.argv[2]), sys.argv[3:]
    text = program(unit)  # before anything is forbidden
    if os.getuid() == 0:
        be_somebody(gid)
    check(LIBC.prctl(PR_SET_NO_NEW_PRIVS, 1, 0, 0, 0), "no new privileges")
    keep = ctypes.create_string_buffer(text, len(text))

    class Filter(ctypes.Structure):
        _fields_ = [("len", ctypes.c_ushort), ("filter", ctypes.c_void_p)]

    filled = Filter(len(text) // 8, ctypes.cast(keep, ctypes.c_void_p))
    check(LIBC.prctl(PR_SET_SECCOMP, 2, ctypes.byref(filled), 0, 0), "the filter")
    os.execv(argv[0], argv)


if __name__ == "__main__":
    main()
