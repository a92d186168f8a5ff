#include "powercut.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

struct cut_file {
    sqlite3_file base;
    struct cut_log *log;
    int file;  /* -1: not one of ours */
    bool made; /* and its name is not yet on the disk: its first sync takes the folder along */
};

static sqlite3_file *real(sqlite3_file *f)
{
    return (sqlite3_file *) ((struct cut_file *) f + 1);
}

static struct cut_op *note(struct cut_log *log, int file, enum cut_kind kind)
{
    if (log->n == log->room) {
        log->room = log->room != 0 ? 2 * log->room : 1024;
        log->ops = realloc(log->ops, log->room * sizeof *log->ops);
        if (log->ops == NULL)
            abort();
    }
    struct cut_op *op = &log->ops[log->n++];
    *op = (struct cut_op){.kind = kind, .file = file};
    return op;
}

static int which(const struct cut_log *log, const char *name)
{
    for (int i = 0; name != NULL && i < CUT_FILES; i++)
        if (strcmp(log->path[i], name) == 0)
            return i;
    return -1;
}

static int on_write(sqlite3_file *f, const void *data, int n, sqlite3_int64 at)
{
    struct cut_file *c = (struct cut_file *) f;
    if (c->file >= 0) {
        struct cut_op *op = note(c->log, c->file, CUT_WRITE);
        op->at = at;
        op->n = n;
        op->data = malloc((size_t) n);
        if (op->data == NULL)
            abort();
        memcpy(op->data, data, (size_t) n);
    }
    return real(f)->pMethods->xWrite(real(f), data, n, at);
}

static int on_truncate(sqlite3_file *f, sqlite3_int64 size)
{
    struct cut_file *c = (struct cut_file *) f;
    if (c->file >= 0)
        note(c->log, c->file, CUT_TRUNCATE)->at = size;
    return real(f)->pMethods->xTruncate(real(f), size);
}

/* Not passed on: nothing here has to survive the machine, and the disk is slow. */
static int on_sync(sqlite3_file *f, int flags)
{
    struct cut_file *c = (struct cut_file *) f;
    (void) flags;
    if (c->file >= 0)
        note(c->log, c->file, CUT_SYNC);
    if (c->made)
        note(c->log, c->file, CUT_FOLDER);
    c->made = false;
    return SQLITE_OK;
}

static int on_close(sqlite3_file *f)
{
    return real(f)->pMethods->xClose(real(f));
}

static int on_read(sqlite3_file *f, void *data, int n, sqlite3_int64 at)
{
    return real(f)->pMethods->xRead(real(f), data, n, at);
}

static int on_size(sqlite3_file *f, sqlite3_int64 *size)
{
    return real(f)->pMethods->xFileSize(real(f), size);
}

static int on_lock(sqlite3_file *f, int how)
{
    return real(f)->pMethods->xLock(real(f), how);
}

static int on_unlock(sqlite3_file *f, int how)
{
    return real(f)->pMethods->xUnlock(real(f), how);
}

static int on_reserved(sqlite3_file *f, int *held)
{
    return real(f)->pMethods->xCheckReservedLock(real(f), held);
}

static int on_control(sqlite3_file *f, int op, void *arg)
{
    return real(f)->pMethods->xFileControl(real(f), op, arg);
}

static int on_sector(sqlite3_file *f)
{
    return real(f)->pMethods->xSectorSize(real(f));
}

static int on_device(sqlite3_file *f)
{
    return real(f)->pMethods->xDeviceCharacteristics(real(f));
}

static int on_shm_map(sqlite3_file *f, int n, int size, int extend, void volatile **out)
{
    return real(f)->pMethods->xShmMap(real(f), n, size, extend, out);
}

static int on_shm_lock(sqlite3_file *f, int from, int n, int flags)
{
    return real(f)->pMethods->xShmLock(real(f), from, n, flags);
}

static void on_shm_barrier(sqlite3_file *f)
{
    real(f)->pMethods->xShmBarrier(real(f));
}

static int on_shm_unmap(sqlite3_file *f, int delete_it)
{
    return real(f)->pMethods->xShmUnmap(real(f), delete_it);
}

static int vfs_open(sqlite3_vfs *v, const char *name, sqlite3_file *f, int flags, int *out_flags)
{
    static const sqlite3_io_methods methods = {.iVersion = 2,
        .xClose = on_close,
        .xRead = on_read,
        .xWrite = on_write,
        .xTruncate = on_truncate,
        .xSync = on_sync,
        .xFileSize = on_size,
        .xLock = on_lock,
        .xUnlock = on_unlock,
        .xCheckReservedLock = on_reserved,
        .xFileControl = on_control,
        .xSectorSize = on_sector,
        .xDeviceCharacteristics = on_device,
        .xShmMap = on_shm_map,
        .xShmLock = on_shm_lock,
        .xShmBarrier = on_shm_barrier,
        .xShmUnmap = on_shm_unmap};
    struct cut_file *c = (struct cut_file *) f;
    struct cut_log *log = v->pAppData;
    *c = (struct cut_file){.log = log, .file = which(log, name)};
    c->made = c->file > 0 && access(name, F_OK) != 0;
    real(f)->pMethods = NULL;
    int rc = log->base->xOpen(log->base, name, real(f), flags, out_flags);
    if (real(f)->pMethods != NULL)
        c->base.pMethods = &methods;
    return rc;
}

static int vfs_delete(sqlite3_vfs *v, const char *name, int sync_folder)
{
    struct cut_log *log = v->pAppData;
    int file = which(log, name);
    if (file >= 0) {
        note(log, file, CUT_DELETE);
        if (sync_folder)
            note(log, file, CUT_FOLDER);
    }
    return log->base->xDelete(log->base, name, sync_folder);
}

static int vfs_access(sqlite3_vfs *v, const char *name, int flags, int *out)
{
    struct cut_log *log = v->pAppData;
    return log->base->xAccess(log->base, name, flags, out);
}

static int vfs_full(sqlite3_vfs *v, const char *name, int size, char *out)
{
    struct cut_log *log = v->pAppData;
    return log->base->xFullPathname(log->base, name, size, out);
}

struct cut_log *cut_begin(const char *path)
{
    static const char *const tails[CUT_FILES] = {"", "-wal", "-journal"};
    struct cut_log *log = calloc(1, sizeof *log);
    sqlite3_vfs *v = calloc(1, sizeof *v);
    if (log == NULL || v == NULL)
        abort();
    log->base = sqlite3_vfs_find(NULL);
    for (int i = 0; i < CUT_FILES; i++)
        snprintf(log->path[i], sizeof log->path[i], "%s%s", path, tails[i]);
    *v = *log->base; /* what is not named below needs no file: clock, sleep, chance */
    v->iVersion = 1;
    v->szOsFile = (int) sizeof(struct cut_file) + log->base->szOsFile;
    v->zName = "cut";
    v->pAppData = log;
    v->xOpen = vfs_open;
    v->xDelete = vfs_delete;
    v->xAccess = vfs_access;
    v->xFullPathname = vfs_full;
    sqlite3_vfs_register(v, 1);
    return log;
}

void cut_end(struct cut_log *log)
{
    for (size_t i = 0; i < log->n; i++)
        free(log->ops[i].data);
    free(log->ops);
    log->ops = NULL;
    log->n = log->room = 0;
}

/* --- the files as they would be --- */

struct content {
    unsigned char *bytes;
    size_t size, room;
    bool there;
};

static void reach(struct content *c, size_t size)
{
    if (size > c->room) {
        size_t room = 2 * size;
        c->bytes = realloc(c->bytes, room);
        if (c->bytes == NULL)
            abort();
        memset(c->bytes + c->room, 0, room - c->room);
        c->room = room;
    }
    if (size > c->size) {
        memset(c->bytes + c->size, 0, size - c->size);
        c->size = size;
    }
}

static uint32_t chance(uint32_t *state)
{
    *state = *state * 1664525u + 1013904223u;
    return *state >> 8;
}

static void put(struct content *c, int64_t at, const unsigned char *data, size_t n)
{
    reach(c, (size_t) at + n);
    memcpy(c->bytes + at, data, n);
    c->there = true;
}

/* Sector by sector: there, not there, or only the first bytes of it. */
static void put_torn(struct content *c, const struct cut_op *op, uint32_t *state)
{
    for (int64_t from = op->at; from < op->at + op->n;) {
        int64_t end = (from / CUT_SECTOR + 1) * CUT_SECTOR;
        end = end < op->at + op->n ? end : op->at + op->n;
        uint32_t fate = chance(state) % 5;
        int64_t kept = fate < 2 ? 0 : fate < 4 ? end - from : (int64_t) (chance(state) % 512);
        kept = kept < end - from ? kept : end - from;
        if (kept > 0)
            put(c, from, op->data + (from - op->at), (size_t) kept);
        from = end;
    }
}

static void apply(struct content *c, const struct cut_op *op)
{
    if (op->kind == CUT_WRITE)
        put(c, op->at, op->data, (size_t) op->n);
    else if (op->kind == CUT_TRUNCATE && (size_t) op->at < c->size)
        c->size = (size_t) op->at;
    else if (op->kind == CUT_DELETE)
        *c = (struct content){.bytes = c->bytes, .room = c->room};
}

static void apply_unsure(
    struct content *c, const struct cut_op *op, enum cut_fate fate, uint32_t *state)
{
    if (fate == CUT_DROP)
        return;
    if (fate == CUT_KEEP) {
        apply(c, op);
    } else if (op->kind == CUT_WRITE) {
        put_torn(c, op, state);
    } else if (chance(state) % 2 == 0) {
        apply(c, op);
    }
}

/* Up to here all of a file is on the disk for sure: its bytes by its own sync, that it is gone by a
 * sync of the folder, whatever for. */
static size_t confirmed(const struct cut_log *log, int file, size_t k)
{
    size_t sure = 0, gone = 0;
    for (size_t i = 0; i < k; i++) {
        const struct cut_op *op = &log->ops[i];
        if (op->kind == CUT_FOLDER && gone > sure)
            sure = gone;
        if (op->file != file)
            continue;
        if (op->kind == CUT_SYNC)
            sure = i + 1;
        if (op->kind == CUT_DELETE)
            gone = i + 1;
    }
    return sure;
}

static void spill(const struct content *c, const char *path)
{
    if (!c->there) {
        unlink(path);
        return;
    }
    FILE *f = fopen(path, "wb");
    if (f == NULL || fwrite(c->bytes, 1, c->size, f) != c->size || fclose(f) != 0)
        abort();
}

void cut_files(
    const struct cut_log *log, size_t k, enum cut_fate fate, uint32_t seed, const char *path)
{
    static const char *const tails[CUT_FILES] = {"", "-wal", "-journal"};
    char name[200];
    for (int file = 0; file < CUT_FILES; file++) {
        uint32_t state = seed * 2654435761u + (uint32_t) file + 1;
        size_t sure = confirmed(log, file, k);
        struct content c = {.there = file == 0};
        reach(&c, 1);
        c.size = 0;
        for (size_t i = 0; i < k; i++) {
            if (log->ops[i].file != file)
                continue;
            if (i < sure)
                apply(&c, &log->ops[i]);
            else
                apply_unsure(&c, &log->ops[i], fate, &state);
        }
        snprintf(name, sizeof name, "%s%s", path, tails[file]);
        spill(&c, name);
        free(c.bytes);
    }
    snprintf(name, sizeof name, "%s-shm", path);
    unlink(name);
}
