/*
 * Parts of numbers, found without reading the register: for each three characters in a row, the
 * animals that have them somewhere, in a table made when a large register is filled.
 *
 * It only says who can be meant; the search looks at those as it would look at everybody. An animal
 * that is written later is noted by a trigger (part_stale) and looked at too, so that the table may
 * be old but nobody is missed. A register without the table is searched as a whole.
 */
#include "store/part.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#define GRAMS 65536u
#define FEWEST 20000     /* animals that are searched as a whole before anybody notices */
#define CANDIDATES 20000 /* more than this: looking at everybody is as quick */
#define FEW 48u          /* so few need not become fewer */
#define SLOW_MS 1000     /* after that somebody should be told why nothing happens */
#define LOOK_EVERY 4096
#define TEXT_OF(x) TEXT_AS_IS(x)
#define TEXT_AS_IS(x) #x

/* Three folded characters. Several may have one number: then a few more are looked at. */
static uint32_t gram(const unsigned char *s)
{
    return (((uint32_t) s[0] | (uint32_t) s[1] << 8 | (uint32_t) s[2] << 16) * 0x9e3779b1u) >> 16;
}

/* --- making it --- */

/* Rows in ascending order, each as what it is more than the one before: seven bits a byte. */
struct list {
    uint8_t *bytes;
    uint32_t n, room;
    int64_t last;
};

static bool add_row(struct list *l, int64_t row)
{
    uint64_t more = (uint64_t) (row - l->last);
    if (more == 0)
        return true;
    if (l->n + 10 > l->room) {
        uint32_t room = l->room != 0 ? l->room + l->room / 2 : 32;
        uint8_t *bytes = room < UINT32_MAX / 2 ? realloc(l->bytes, room) : NULL;
        if (bytes == NULL)
            return false;
        l->bytes = bytes;
        l->room = room;
    }
    for (; more >= 128; more >>= 7)
        l->bytes[l->n++] = (uint8_t) (more | 128);
    l->bytes[l->n++] = (uint8_t) more;
    l->last = row;
    return true;
}

static bool add_text(struct list *lists, int64_t row, const char *text)
{
    char fold[LM_VISUAL_MAX + 1];
    size_t n = text != NULL ? lm_visual_fold(text, fold) : 0;
    for (size_t i = 0; i + 2 < n; i++)
        if (!add_row(&lists[gram((const unsigned char *) fold + i)], row))
            return false;
    return true;
}

/* Who is told, once, that it takes long. */
struct patience {
    void (*slow)(void *ctx); /* NULL: nobody, or he was told */
    void *ctx;
    int64_t until_ms;
};

static int64_t now_ms(void)
{
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return (int64_t) t.tv_sec * 1000 + t.tv_nsec / 1000000;
}

static void look_at_clock(struct patience *p)
{
    if (p->slow != NULL && now_ms() >= p->until_ms) {
        p->slow(p->ctx);
        p->slow = NULL;
    }
}

static enum lm_err gather(struct lm_store *s, struct list *lists, struct patience *patience)
{
    sqlite3_stmt *st = lm_store_prepare(s,
        "SELECT a.id, a.key, a.breed, d.visual, d.uid, CASE WHEN d.eid IS NOT NULL THEN "
        "printf('%03d%012d', d.eid >> 38, d.eid & 274877906943) END "
        "FROM animal a LEFT JOIN device d ON d.animal_id = a.id ORDER BY a.id");
    if (st == NULL)
        return s->problem.err;
    int rc = SQLITE_DONE;
    bool room = true;
    while (room && (rc = sqlite3_step(st)) == SQLITE_ROW) {
        int64_t row = sqlite3_column_int64(st, 0);
        if (row % LOOK_EVERY == 0)
            look_at_clock(patience);
        for (int i = 1; i <= 5 && room; i++)
            room = add_text(lists, row, (const char *) sqlite3_column_text(st, i));
    }
    enum lm_err err = LM_OK;
    if (!room)
        err = lm_problem_set(&s->problem, LM_ENOMEM, NULL, "out of memory");
    else if (rc != SQLITE_DONE)
        err = lm_store_fail(s, "reading the animals");
    sqlite3_finalize(st);
    return err;
}

static enum lm_err write_lists(struct lm_store *s, const struct list *lists)
{
    sqlite3_stmt *st = lm_store_prepare(s, "INSERT INTO part(gram, rows) VALUES (?, ?)");
    enum lm_err err = st != NULL ? LM_OK : s->problem.err;
    for (uint32_t g = 0; g < GRAMS && err == LM_OK; g++) {
        if (lists[g].n == 0)
            continue;
        sqlite3_bind_int64(st, 1, g);
        sqlite3_bind_blob(st, 2, lists[g].bytes, (int) lists[g].n, SQLITE_STATIC);
        err = lm_store_run(s, st, "writing parts of numbers");
    }
    sqlite3_finalize(st);
    return err;
}

static int64_t number(struct lm_store *s, const char *sql)
{
    sqlite3_stmt *st = lm_store_prepare(s, sql);
    int64_t n = st != NULL && sqlite3_step(st) == SQLITE_ROW ? sqlite3_column_int64(st, 0) : 0;
    sqlite3_finalize(st);
    return n;
}

static enum lm_err make(struct lm_store *s, struct patience *patience)
{
    struct list *lists = calloc(GRAMS, sizeof *lists);
    if (lists == NULL)
        return lm_problem_set(&s->problem, LM_ENOMEM, NULL, "out of memory");
    enum lm_err err = lm_store_exec(s, "DELETE FROM part; DELETE FROM part_stale", "writing");
    err = err ? err : gather(s, lists, patience);
    err = err ? err : write_lists(s, lists);
    for (uint32_t g = 0; g < GRAMS; g++)
        free(lists[g].bytes);
    free(lists);
    return err;
}

enum lm_err lm_store_part_renew(struct lm_store *s)
{
    bool there = number(s, "SELECT EXISTS (SELECT 1 FROM part)") != 0;
    int64_t stale = there ? number(s, "SELECT count(*) FROM part_stale")
                          : number(s, "SELECT count(*) FROM animal");
    struct patience none = {.slow = NULL};
    return stale < FEWEST ? LM_OK : make(s, &none);
}

/* Not beside an open session: its readings would wait for us. */
static bool is_missing(struct lm_store *s)
{
    return number(s,
               "SELECT NOT EXISTS (SELECT 1 FROM part) "
               "AND (SELECT count(*) FROM (SELECT 1 FROM animal LIMIT " TEXT_OF(
                   FEWEST) ")) "
                           "= " TEXT_OF(
                               FEWEST) " AND NOT EXISTS "
                                       "(SELECT 1 FROM session WHERE close_seq IS NULL)") != 0;
}

enum lm_err lm_store_tend(struct lm_store *store, void (*slow)(void *ctx), void *ctx)
{
    struct patience patience = {slow, ctx, now_ms() + SLOW_MS};
    enum lm_err err = lm_store_fresh(store);
    if (err != LM_OK || store->mode == LM_STORE_READ || !is_missing(store))
        return err;
    err = lm_store_begin(store);
    if (err != LM_OK)
        return err;
    if (is_missing(store)) /* looked at again: another program may have been faster */
        err = make(store, &patience);
    if (err == LM_OK)
        return lm_store_commit(store);
    lm_store_rollback(store);
    return err;
}

/* --- using it --- */

struct rows {
    int64_t *row;
    size_t n, room;
};

static bool put(struct rows *r, int64_t row)
{
    if (r->n == r->room) {
        size_t room = r->room != 0 ? r->room * 2 : 256;
        int64_t *bigger = realloc(r->row, room * sizeof *bigger);
        if (bigger == NULL)
            return false;
        r->row = bigger;
        r->room = room;
    }
    r->row[r->n++] = row;
    return true;
}

/* The next row of a list. @return false at its end; a damaged one ends early. */
static bool next_row(const uint8_t **at, const uint8_t *end, int64_t *row)
{
    uint64_t more = 0;
    for (unsigned shift = 0; *at < end && shift < 63; shift += 7) {
        uint8_t byte = *(*at)++;
        more |= (uint64_t) (byte & 127) << shift;
        if (byte < 128) {
            *row = (int64_t) ((uint64_t) *row + more);
            return true;
        }
    }
    return false;
}

static bool take_all(struct rows *r, const uint8_t *at, const uint8_t *end)
{
    for (int64_t row = 0; next_row(&at, end, &row);)
        if (r->n > CANDIDATES || !put(r, row))
            return false;
    return true;
}

/* Keep of the rows those that the list has too. */
static void keep_common(struct rows *r, const uint8_t *at, const uint8_t *end)
{
    int64_t row = 0;
    size_t kept = 0;
    bool more = next_row(&at, end, &row);
    for (size_t i = 0; i < r->n; i++) {
        while (more && row < r->row[i])
            more = next_row(&at, end, &row);
        if (more && row == r->row[i])
            r->row[kept++] = row;
    }
    r->n = kept;
}

struct wanted {
    uint32_t gram;
    int64_t len;
};

static int by_length(const void *a, const void *b)
{
    const struct wanted *x = a, *y = b;
    return (x->len > y->len) - (x->len < y->len);
}

/* Shortest list first. @return how many there are. */
static size_t look_up(struct lm_store *s, const char *fold, struct wanted wanted[LM_VISUAL_MAX])
{
    size_t n = 0, len = strlen(fold);
    sqlite3_stmt *st = lm_store_prepare(s, "SELECT length(rows) FROM part WHERE gram = ?");
    for (size_t i = 0; st != NULL && i + 2 < len; i++) {
        struct wanted *w = &wanted[n++];
        w->gram = gram((const unsigned char *) fold + i);
        sqlite3_bind_int64(st, 1, w->gram);
        w->len = sqlite3_step(st) == SQLITE_ROW ? sqlite3_column_int64(st, 0) : 0;
        sqlite3_reset(st);
    }
    sqlite3_finalize(st);
    qsort(wanted, n, sizeof *wanted, by_length);
    return n;
}

static bool intersect(struct lm_store *s, const char *fold, struct rows *r)
{
    struct wanted wanted[LM_VISUAL_MAX];
    size_t n = look_up(s, fold, wanted);
    sqlite3_stmt *st = lm_store_prepare(s, "SELECT rows FROM part WHERE gram = ?");
    bool good = st != NULL && n > 0;
    for (size_t i = 0; good && i < n && (i == 0 || r->n > FEW); i++) {
        sqlite3_bind_int64(st, 1, wanted[i].gram);
        bool there = sqlite3_step(st) == SQLITE_ROW;
        const uint8_t *at = there ? sqlite3_column_blob(st, 0) : NULL;
        const uint8_t *end = at != NULL ? at + sqlite3_column_bytes(st, 0) : NULL;
        if (i == 0)
            good = take_all(r, at, end);
        else
            keep_common(r, at, end);
        sqlite3_reset(st);
    }
    sqlite3_finalize(st);
    return good;
}

static bool add_stale(struct lm_store *s, struct rows *r)
{
    sqlite3_stmt *st = lm_store_prepare(s, "SELECT animal_id FROM part_stale");
    int rc = SQLITE_ERROR;
    while (st != NULL && (rc = sqlite3_step(st)) == SQLITE_ROW)
        if (r->n > 2 * CANDIDATES || !put(r, sqlite3_column_int64(st, 0)))
            break;
    sqlite3_finalize(st);
    return rc == SQLITE_DONE;
}

/* [1,2,3], for json_each(). */
static char *as_json(const struct rows *r)
{
    size_t room = r->n * 21 + 3, at = 1;
    char *text = malloc(room);
    if (text == NULL)
        return NULL;
    text[0] = '[';
    for (size_t i = 0; i < r->n; i++)
        at += (size_t) snprintf(
            text + at, room - at, "%s%lld", i > 0 ? "," : "", (long long) r->row[i]);
    text[at++] = ']';
    text[at] = '\0';
    return text;
}

char *lm_store_part_rows(struct lm_store *s, const char *fold)
{
    struct rows r = {0};
    char *json = NULL;
    if (strlen(fold) >= 3 && number(s, "SELECT EXISTS (SELECT 1 FROM part)") != 0 &&
        intersect(s, fold, &r) && add_stale(s, &r))
        json = as_json(&r);
    free(r.row);
    return json;
}
