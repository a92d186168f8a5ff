/* One call that fails: every allocation, every call of the operating system and every call of
 * SQLite is counted by its kind, and the one that was asked for fails. Linked with --wrap: see
 * nth.mk. */
#ifndef NTH_H
#define NTH_H

#include <stdbool.h>

enum nth_kind {
    NTH_MEMORY, /* ours, SQLite's and Jansson's allocations */
    NTH_SYSTEM, /* open, read, write, fsync, ... of ours and of SQLite */
    NTH_SQLITE, /* prepare, step, exec, ... */
    NTH_KINDS
};

/* Once, before anything else: stands in for SQLite's and Jansson's allocators and for the calls
 * that SQLite makes itself. */
void nth_install(void);

/* Count from here on; call number @p n of this kind fails. 0: none does. */
void nth_arm(enum nth_kind kind, unsigned long n);

/* Stop. @return calls of that kind since nth_arm(). */
unsigned long nth_disarm(void);

const char *nth_kind_name(enum nth_kind kind);

#endif
