#include "store/sum_vfs.h"

#include <endian.h>
#include <stdlib.h>
#include <string.h>

#define NAME "lugmark"
#define ASK_SEEN 0x4c75674d /* a file control of our own */
#define PAGE_MAX 65536

struct sum_file {
    sqlite3_file base; /* what SQLite sees; the file of the VFS below lies behind this struct */
    int page;          /* its size; 0 until the header was seen */
    struct lm_sum_seen seen;
    unsigned char copy[PAGE_MAX]; /* a page on its way out */
};

static sqlite3_vfs *below(const sqlite3_vfs *v)
{
    return v->pAppData;
}

static struct sum_file *of(sqlite3_file *f)
{
    return (struct sum_file *) f;
}

static sqlite3_file *real(sqlite3_file *f)
{
    return (sqlite3_file *) (of(f) + 1);
}

static uint64_t mix(uint64_t h, const unsigned char *at)
{
    uint64_t word;
    memcpy(&word, at, sizeof word);
    h = (h ^ le64toh(word)) * UINT64_C(0x9e3779b97f4a7c15);
    return h << 29 | h >> 35;
}

/* Every step can be turned back, so one changed word always changes the sum. */
uint64_t lm_sum_of(const unsigned char *page, int size, uint32_t number)
{
    uint64_t h[4] = {number, 1, 2, 3};
    int n = (size - LM_SUM_SIZE) / 8;
    int i = 0;
    for (; i + 4 <= n; i += 4)
        for (int lane = 0; lane < 4; lane++)
            h[lane] = mix(h[lane], page + 8 * (i + lane));
    for (; i < n; i++)
        h[0] = mix(h[0], page + 8 * i);
    uint64_t sum = h[0];
    for (int lane = 1; lane < 4; lane++)
        sum = (sum * UINT64_C(0x9e3779b97f4a7c15)) ^ h[lane];
    return sum != 0 ? sum : 1;
}

static uint64_t stored(const unsigned char *page, int size)
{
    uint64_t word;
    memcpy(&word, page + size - LM_SUM_SIZE, sizeof word);
    return le64toh(word);
}

static void store(unsigned char *page, int size, uint64_t sum)
{
    uint64_t word = htole64(sum);
    memcpy(page + size - LM_SUM_SIZE, &word, sizeof word);
}

/* The header says how long a page is and what is kept free at its end. */
static void see_header(struct sum_file *f, const unsigned char *data, int n, sqlite3_int64 at)
{
    static const char magic[16] = "SQLite format 3";
    if (at != 0 || n < 100 || memcmp(data, magic, sizeof magic) != 0)
        return;
    int page = data[16] << 8 | data[17];
    page = page == 1 ? PAGE_MAX : page;
    f->seen.summed = data[20] == LM_SUM_SIZE && page >= 512 && (page & (page - 1)) == 0;
    f->page = f->seen.summed ? page : 0;
}

static bool whole_page(const struct sum_file *f, int n, sqlite3_int64 at)
{
    return f->page != 0 && n == f->page && at % f->page == 0;
}

static void note_bad(struct lm_sum_seen *seen, uint32_t number)
{
    unsigned kept = seen->bad < LM_SUM_BAD_MAX ? seen->bad : LM_SUM_BAD_MAX;
    for (unsigned i = 0; i < kept; i++)
        if (seen->pages[i] == number)
            return;
    if (kept < LM_SUM_BAD_MAX)
        seen->pages[kept] = number;
    seen->bad++;
}

static int on_read(sqlite3_file *file, void *data, int n, sqlite3_int64 at)
{
    struct sum_file *f = of(file);
    int rc = real(file)->pMethods->xRead(real(file), data, n, at);
    if (rc != SQLITE_OK)
        return rc;
    see_header(f, data, n, at);
    if (!whole_page(f, n, at))
        return rc;
    uint32_t number = (uint32_t) (at / n) + 1;
    uint64_t sum = stored(data, n);
    if (sum == 0)
        return rc; /* brought into the file by another program's checkpoint: not ours to judge */
    if (sum == lm_sum_of(data, n, number))
        store(data, n, 0);
    else
        note_bad(&f->seen, number);
    return rc;
}

static int on_write(sqlite3_file *file, const void *data, int n, sqlite3_int64 at)
{
    struct sum_file *f = of(file);
    see_header(f, data, n, at);
    if (whole_page(f, n, at) && stored(data, n) == 0) {
        memcpy(f->copy, data, (size_t) n);
        store(f->copy, n, lm_sum_of(f->copy, n, (uint32_t) (at / n) + 1));
        data = f->copy;
    }
    return real(file)->pMethods->xWrite(real(file), data, n, at);
}

static int on_control(sqlite3_file *file, int op, void *arg)
{
    if (op == ASK_SEEN) {
        *(const struct lm_sum_seen **) arg = &of(file)->seen;
        return SQLITE_OK;
    }
    return real(file)->pMethods->xFileControl(real(file), op, arg);
}

/* --- what only passes through --- */

static int on_close(sqlite3_file *f)
{
    return real(f)->pMethods->xClose(real(f));
}

static int on_truncate(sqlite3_file *f, sqlite3_int64 size)
{
    return real(f)->pMethods->xTruncate(real(f), size);
}

static int on_sync(sqlite3_file *f, int flags)
{
    return real(f)->pMethods->xSync(real(f), flags);
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

static int vfs_open(sqlite3_vfs *v, const char *name, sqlite3_file *file, int flags, int *out_flags)
{
    static const sqlite3_io_methods methods = {.iVersion = 2, /* no xFetch: every page is read */
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
    /* Journals carry sums of their own. */
    if ((flags & SQLITE_OPEN_MAIN_DB) == 0)
        return below(v)->xOpen(below(v), name, file, flags, out_flags);
    struct sum_file *f = of(file);
    f->base.pMethods = NULL;
    f->page = 0;
    f->seen = (struct lm_sum_seen){.bad = 0};
    real(file)->pMethods = NULL;
    int rc = below(v)->xOpen(below(v), name, real(file), flags, out_flags);
    if (real(file)->pMethods != NULL)
        f->base.pMethods = &methods;
    return rc;
}

static int vfs_delete(sqlite3_vfs *v, const char *name, int sync_folder)
{
    return below(v)->xDelete(below(v), name, sync_folder);
}

static int vfs_access(sqlite3_vfs *v, const char *name, int flags, int *out)
{
    return below(v)->xAccess(below(v), name, flags, out);
}

static int vfs_full(sqlite3_vfs *v, const char *name, int size, char *out)
{
    return below(v)->xFullPathname(below(v), name, size, out);
}

static int vfs_random(sqlite3_vfs *v, int n, char *out)
{
    return below(v)->xRandomness(below(v), n, out);
}

static int vfs_sleep(sqlite3_vfs *v, int us)
{
    return below(v)->xSleep(below(v), us);
}

static int vfs_time(sqlite3_vfs *v, double *out)
{
    return below(v)->xCurrentTime(below(v), out);
}

static int vfs_error(sqlite3_vfs *v, int n, char *out)
{
    return below(v)->xGetLastError(below(v), n, out);
}

/* Made once and kept by SQLite to the end of the program. */
const char *lm_sum_vfs(void)
{
    if (sqlite3_vfs_find(NAME) != NULL)
        return NAME;
    sqlite3_vfs *base = sqlite3_vfs_find(NULL);
    sqlite3_vfs *v = base != NULL ? calloc(1, sizeof *v) : NULL;
    if (v == NULL)
        return NULL;
    *v = (sqlite3_vfs){.iVersion = 1,
        .szOsFile = (int) sizeof(struct sum_file) + base->szOsFile,
        .mxPathname = base->mxPathname,
        .zName = NAME,
        .pAppData = base,
        .xOpen = vfs_open,
        .xDelete = vfs_delete,
        .xAccess = vfs_access,
        .xFullPathname = vfs_full,
        .xRandomness = vfs_random,
        .xSleep = vfs_sleep,
        .xCurrentTime = vfs_time,
        .xGetLastError = vfs_error};
    if (sqlite3_vfs_register(v, 0) != SQLITE_OK) {
        free(v);
        return NULL;
    }
    return NAME;
}

int lm_sum_wanted(sqlite3 *db)
{
    int bytes = LM_SUM_SIZE;
    return sqlite3_file_control(db, "main", SQLITE_FCNTL_RESERVE_BYTES, &bytes);
}

const struct lm_sum_seen *lm_sum_seen(sqlite3 *db)
{
    const struct lm_sum_seen *seen = NULL;
    return sqlite3_file_control(db, "main", ASK_SEEN, &seen) == SQLITE_OK ? seen : NULL;
}
