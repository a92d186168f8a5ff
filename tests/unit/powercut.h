/* A disk that remembers: a VFS that lets everything through and writes down each write, sync,
 * truncation and removal, so that the files can be made again as a power cut at any of them would
 * have left them. */
#ifndef POWERCUT_H
#define POWERCUT_H

#include <sqlite3.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define CUT_FILES 3 /* the register, its WAL, its roll-back journal */
#define CUT_SECTOR 512

enum cut_kind { CUT_WRITE, CUT_TRUNCATE, CUT_SYNC, CUT_DELETE, CUT_FOLDER };
#define CUT_KINDS 5

struct cut_op {
    enum cut_kind kind;
    int file;
    int64_t at; /* of a write; the new size of a truncation */
    int n;
    unsigned char *data;
};

struct cut_log {
    sqlite3_vfs *base;
    char path[CUT_FILES][160];
    struct cut_op *ops;
    size_t n, room;
};

/* What becomes of the operations that no sync has confirmed. */
enum cut_fate {
    CUT_DROP, /* none reached the disk */
    CUT_KEEP, /* all did: what `kill -9` leaves */
    CUT_TEAR  /* any of their sectors, in any order, some of them only in part */
};

/* Make it the default VFS. The log grows until it is told to stop with log->base = NULL. */
struct cut_log *cut_begin(const char *path);
void cut_end(struct cut_log *log);

/* Write the files under other names as they would stand when the power went before operation
 * @p k. */
void cut_files(
    const struct cut_log *log, size_t k, enum cut_fate fate, uint32_t seed, const char *path);

#endif
