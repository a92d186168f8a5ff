/* Adding a supply list to the stock: judged against what is there, all of it or nothing. */
#include "stock_priv.h"
#include "store/store_priv.h"

#include <stdarg.h>
#include <stdio.h>
#include <string.h>

enum { ST_STRIP, ST_POSITION, ST_CODE, ST_NUMBER, ST_DEVICE, ST_INSERT, ST_COUNT };

static const char *const sql[ST_COUNT] = {
    [ST_STRIP] = "SELECT min(position), max(position) FROM stock WHERE strip = ?1",
    [ST_POSITION] = "SELECT 1 FROM stock WHERE strip = ?1 AND position = ?2",
    [ST_CODE] = "SELECT strip, position FROM stock WHERE eid = ?1",
    [ST_NUMBER] = "SELECT strip, position, form FROM stock "
                  "WHERE visual_fold <> '' AND visual_fold = ?1",
    [ST_DEVICE] = "SELECT a.key, d.bits, d.known, d.visual, d.form FROM device d "
                  "JOIN animal a ON a.id = d.animal_id WHERE a.struck = 0 AND d.id IN ("
                  "SELECT id FROM device WHERE gone = 0 AND eid = ?1 UNION ALL "
                  "SELECT id FROM device WHERE gone = 1 AND eid = ?1 UNION ALL "
                  "SELECT id FROM device WHERE visual_fold <> '' AND visual_fold = ?2 "
                  "AND (form = 0 OR ?3 = 0 OR form = ?3)) ORDER BY d.id",
    [ST_INSERT] = "INSERT INTO stock(eid, visual_fold, form, strip, position, bits, known, visual, "
                  "colour, official, received) VALUES(?,?,?,?,?,?,?,?,?,?,?)",
};

struct adding {
    struct lm_store *store;
    const struct lm_stock_add *how;
    sqlite3_stmt *st[ST_COUNT];
    unsigned long bad;
    struct lm_problem first;
};

static void tell(struct adding *a, struct lm_problem *p)
{
    snprintf(p->file, sizeof p->file, "%s", a->how->name != NULL ? a->how->name : "");
    if (a->bad++ == 0)
        a->first = *p;
    if (a->how->problem != NULL)
        a->how->problem(p, a->how->ctx);
}

static void between(const struct lm_problem *p, void *ctx)
{
    struct lm_problem copy = *p;
    tell(ctx, &copy);
}

static void refuse(struct adding *a, const struct stock_row *row, const char *mend, const char *fmt,
    ...) __attribute__((format(printf, 4, 5)));

static void refuse(
    struct adding *a, const struct stock_row *row, const char *mend, const char *fmt, ...)
{
    struct lm_problem p = {.line = row->line};
    char what[LM_PROBLEM_TEXT_MAX];
    va_list args;
    va_start(args, fmt);
    vsnprintf(what, sizeof what, fmt, args);
    va_end(args);
    lm_problem_set(&p, LM_EINPUT, mend, "%s", what);
    tell(a, &p);
}

static sqlite3_stmt *again(struct adding *a, int which)
{
    if (a->st[which] == NULL)
        a->st[which] = lm_store_prepare(a->store, sql[which]);
    else
        sqlite3_reset(a->st[which]);
    return a->st[which];
}

/* *row: the statement stands on a row. */
static enum lm_err step(struct adding *a, sqlite3_stmt *st, bool *row)
{
    int rc = sqlite3_step(st);
    *row = rc == SQLITE_ROW;
    return *row || rc == SQLITE_DONE ? LM_OK : lm_store_fail(a->store, "reading the stock");
}

/* @p hi: the last row of the same strip in the new list, @p lo the first; their order is right. */
static enum lm_err check_strip(
    struct adding *a, const struct stock_row *lo, const struct stock_row *hi)
{
    bool row = false;
    sqlite3_stmt *st = again(a, ST_STRIP);
    if (st == NULL)
        return a->store->problem.err;
    sqlite3_bind_text(st, 1, lo->item.strip, -1, SQLITE_STATIC);
    enum lm_err err = step(a, st, &row);
    if (err != LM_OK || !row || sqlite3_column_type(st, 0) == SQLITE_NULL)
        return err;
    int64_t first = sqlite3_column_int64(st, 0), last = sqlite3_column_int64(st, 1);
    if (lo->item.position > last + 1 || hi->item.position + 1 < first)
        refuse(a, lo, "add the rows between; the order of a strip is evidence",
            "strip %s: positions %u to %u leave a gap, the stock has %lld to %lld", lo->item.strip,
            lo->item.position, hi->item.position, (long long) first, (long long) last);
    return LM_OK;
}

static enum lm_err check_position(struct adding *a, const struct stock_row *row, bool *there)
{
    sqlite3_stmt *st = again(a, ST_POSITION);
    if (st == NULL)
        return a->store->problem.err;
    struct lm_bind b = {st, 0};
    lm_bind_text(&b, row->item.strip);
    lm_bind_int(&b, row->item.position);
    enum lm_err err = step(a, st, there);
    if (err == LM_OK && *there)
        refuse(a, row, "leave the row out when it is the same device; a strip is taken once",
            "strip %s has position %u in the stock already", row->item.strip, row->item.position);
    return err;
}

static enum lm_err check_code(struct adding *a, const struct stock_row *row)
{
    char code[LM_EID_TEXT_SIZE];
    bool there = false;
    sqlite3_stmt *st = again(a, ST_CODE);
    if (st == NULL)
        return a->store->problem.err;
    sqlite3_bind_int64(st, 1, (int64_t) lm_eid_key(row->item.eid));
    enum lm_err err = row->item.eid.known != LM_EID_NONE ? step(a, st, &there) : LM_OK;
    if (err == LM_OK && there)
        refuse(a, row, "no two devices have one code: look at the devices and correct the list",
            "the code %s is in the stock already, on strip %s at position %d",
            lm_eid_format(row->item.eid, code), (const char *) sqlite3_column_text(st, 0),
            sqlite3_column_int(st, 1));
    return err;
}

static enum lm_err check_number(struct adding *a, const struct stock_row *row)
{
    struct lm_stock_item other = {0};
    bool there = true;
    sqlite3_stmt *st = again(a, ST_NUMBER);
    if (st == NULL)
        return a->store->problem.err;
    sqlite3_bind_text(st, 1, row->fold, -1, SQLITE_STATIC);
    enum lm_err err = LM_OK;
    while (err == LM_OK && there) {
        err = step(a, st, &there);
        if (err != LM_OK || !there)
            break;
        struct lm_take t = {st, 0};
        lm_take_text(&t, other.strip, sizeof other.strip);
        other.position = (uint32_t) lm_take_int(&t);
        other.form = lm_take_word(&t, LM_TATTOO);
        if (lm_stock_is_set(&other, &row->item))
            continue;
        refuse(a, row, "correct one of the two; devices of a set have different forms",
            "the number %.60s is in the stock already, on strip %s at position %u",
            row->item.visual, other.strip, other.position);
        break;
    }
    return err;
}

static void judge_use(struct adding *a, const struct stock_row *row, const char *animal,
    const struct lm_device *d, bool *told)
{
    char mine[LM_EID_TEXT_SIZE] = "", theirs[LM_EID_TEXT_SIZE] = "";
    bool same = lm_stock_same_pair(&row->item, d);
    if (same && a->how->allow_used)
        return;
    *told = true;
    if (row->item.eid.known != LM_EID_NONE)
        lm_eid_format(row->item.eid, mine);
    if (d->eid.known != LM_EID_NONE)
        lm_eid_format(d->eid, theirs);
    refuse(a, row,
        same ? "with --allow-used devices that animals carry already are taken too"
             : "look at the animal and correct the list or the register",
        "%s%s%.60s is on animal %s already%s%s%s%.60s", mine, mine[0] ? " / " : "",
        row->item.visual, animal, same ? "" : ", there as ", same ? "" : theirs,
        same || !theirs[0] ? "" : " / ", same ? "" : d->visual);
}

static enum lm_err check_use(struct adding *a, const struct stock_row *row)
{
    char fold[LM_VISUAL_MAX + 1], animal[LM_NAME_MAX + 1];
    bool there = true, told = false;
    sqlite3_stmt *st = again(a, ST_DEVICE);
    if (st == NULL)
        return a->store->problem.err;
    lm_stock_bind_marks(st, &row->item, fold);
    enum lm_err err = LM_OK;
    while (err == LM_OK && there && !told) {
        struct lm_device d = {0};
        err = step(a, st, &there);
        if (err != LM_OK || !there)
            break;
        struct lm_take t = {st, 0};
        lm_take_text(&t, animal, sizeof animal);
        d.eid.bits = (uint64_t) lm_take_int(&t);
        d.eid.known = lm_take_word(&t, LM_EID_FULL);
        lm_take_text(&t, d.visual, sizeof d.visual);
        judge_use(a, row, animal, &d, &told);
    }
    return err;
}

static enum lm_err check_row(struct adding *a, const struct stock_row *row)
{
    bool there = false;
    enum lm_err err = check_position(a, row, &there);
    if (err != LM_OK || there) /* the other checks would say the same thing again */
        return err;
    err = check_code(a, row);
    err = err ? err : check_number(a, row);
    return err || a->how->any_use ? err : check_use(a, row);
}

static enum lm_err check_list(struct adding *a, const struct stock_list *list)
{
    enum lm_err err = LM_OK;
    for (size_t i = 0, first = 0; i < list->n && err == LM_OK; i++) {
        if (list->rows[i].strip != list->rows[first].strip)
            first = i;
        err = check_row(a, &list->rows[i]);
        bool last = i + 1 == list->n || list->rows[i + 1].strip != list->rows[i].strip;
        if (err == LM_OK && last)
            err = check_strip(a, &list->rows[first], &list->rows[i]);
    }
    return err;
}

static enum lm_err insert(struct adding *a, const struct lm_stock_item *item)
{
    char fold[LM_VISUAL_MAX + 1];
    sqlite3_stmt *st = again(a, ST_INSERT);
    if (st == NULL)
        return a->store->problem.err;
    lm_stock_bind_marks(st, item, fold);
    struct lm_bind b = {st, 3};
    lm_bind_text(&b, item->strip);
    lm_bind_int(&b, item->position);
    lm_bind_int(&b, (int64_t) item->eid.bits);
    lm_bind_int(&b, item->eid.known);
    lm_bind_text(&b, item->visual);
    lm_bind_text(&b, item->colour);
    lm_bind_int(&b, item->official);
    lm_bind_date(&b, item->received);
    return lm_store_run(a->store, st, "writing the stock");
}

static enum lm_err fill(struct adding *a, struct stock_list *list,
    const struct lm_stock_item *items, const long *lines, size_t n)
{
    enum lm_err err = LM_OK;
    for (size_t i = 0; i < n && err == LM_OK; i++) {
        const struct lm_stock_item *it = &items[i];
        if (it->strip[0] == '\0' || it->position == 0 || it->position > LM_STOCK_POSITION_MAX ||
            (it->eid.known == LM_EID_NONE && it->visual[0] == '\0') || it->eid.known > LM_EID_FULL)
            return lm_problem_set(&a->store->problem, LM_EARG, NULL,
                "item %zu of the list has no strip, no position or no mark", i + 1);
        err = lm_stock_keep(list, it, lines != NULL ? lines[i] : 0);
    }
    if (err == LM_OK)
        err = lm_stock_agree(list, true, NULL, between, a);
    return err == LM_ENOMEM ? lm_problem_set(&a->store->problem, err, NULL, "out of memory") : err;
}

static enum lm_err write_list(struct adding *a, const struct stock_list *list)
{
    enum lm_err err = check_list(a, list);
    if (err == LM_OK && a->bad > 0)
        err = lm_problem_set(&a->store->problem, LM_EINPUT, a->first.mend, "%s", a->first.what);
    for (size_t i = 0; i < list->n && err == LM_OK; i++)
        err = insert(a, &list->rows[i].item);
    for (int i = 0; i < ST_COUNT; i++)
        sqlite3_finalize(a->st[i]);
    return err;
}

enum lm_err lm_store_stock_add(struct lm_store *store, const struct lm_stock_item *items,
    const long *lines, size_t n, const struct lm_stock_add *how)
{
    static const struct lm_stock_add plain = {0};
    struct adding a = {.store = store, .how = how != NULL ? how : &plain};
    struct stock_list list = {0};
    enum lm_scope scope;
    enum lm_err err = lm_store_fresh(store);
    err = err ? err : fill(&a, &list, items, lines, n);
    err = err ? err : lm_store_write_begin(store, true, &scope);
    if (err == LM_OK)
        err = lm_store_write_end(store, scope, write_list(&a, &list));
    lm_stock_drop(&list);
    return err;
}
