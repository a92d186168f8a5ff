/* The stock as it is kept: looking items up, and what became of them. */
#include "stock_priv.h"
#include "store/store_priv.h"

#include <stdio.h>
#include <string.h>

#define SQL_ITEM                                                                                   \
    "s.strip, s.position, s.bits, s.known, s.visual, s.colour, s.received, s.form, s.official "    \
    "FROM stock s "

/*
 * The device that carries an item: by code before by number, worn before removed, the latest first.
 * The partial indexes of device are found only where their conditions stand as they are written.
 */
static const char user_sql[] =
    "SELECT a.key, d.gone FROM device d JOIN animal a ON a.id = d.animal_id "
    "WHERE a.struck = 0 AND d.id IN ("
    "SELECT id FROM device WHERE gone = 0 AND eid = ?1 UNION ALL "
    "SELECT id FROM device WHERE gone = 1 AND eid = ?1 UNION ALL "
    "SELECT id FROM device WHERE visual_fold <> '' AND visual_fold = ?2 "
    "AND (form = 0 OR ?3 = 0 OR form = ?3)) "
    "ORDER BY d.eid IS ?1 DESC, d.gone, d.id DESC LIMIT 1";

struct look {
    struct lm_store *store;
    sqlite3_stmt *items, *user;
};

static enum lm_err look_begin(struct look *l, struct lm_store *s, const char *sql)
{
    *l = (struct look){.store = s};
    l->items = lm_store_prepare(s, sql);
    l->user = l->items != NULL ? lm_store_prepare(s, user_sql) : NULL;
    return l->user != NULL ? LM_OK : s->problem.err;
}

static void look_end(struct look *l)
{
    sqlite3_finalize(l->items);
    sqlite3_finalize(l->user);
}

static void take_item(sqlite3_stmt *st, struct lm_stock_item *item)
{
    struct lm_take t = {st, 0};
    memset(item, 0, sizeof *item);
    lm_take_text(&t, item->strip, sizeof item->strip);
    item->position = (uint32_t) lm_take_int(&t);
    item->eid.bits = (uint64_t) lm_take_int(&t);
    item->eid.known = lm_take_word(&t, LM_EID_FULL);
    lm_take_text(&t, item->visual, sizeof item->visual);
    lm_take_text(&t, item->colour, sizeof item->colour);
    item->received = lm_take_date(&t);
    item->form = lm_take_word(&t, LM_TATTOO);
    item->official = lm_take_bool(&t);
}

void lm_stock_bind_marks(
    sqlite3_stmt *st, const struct lm_stock_item *item, char fold[LM_VISUAL_MAX + 1])
{
    struct lm_bind b = {st, 0};
    lm_visual_fold(item->visual, fold);
    if (item->eid.known != LM_EID_NONE)
        lm_bind_int(&b, (int64_t) lm_eid_key(item->eid));
    else
        lm_bind_null(&b);
    lm_bind_text(&b, fold);
    lm_bind_int(&b, item->form);
}

static enum lm_err take_use(struct look *l, struct lm_stock_item *item)
{
    char fold[LM_VISUAL_MAX + 1];
    enum lm_err err = LM_OK;
    lm_stock_bind_marks(l->user, item, fold);
    int rc = sqlite3_step(l->user);
    if (rc == SQLITE_ROW) {
        struct lm_take t = {l->user, 0};
        lm_take_text(&t, item->animal, sizeof item->animal);
        item->use = lm_take_bool(&t) ? LM_STOCK_GONE : LM_STOCK_WORN;
    } else if (rc != SQLITE_DONE) {
        err = lm_store_fail(l->store, "looking who wears a device of the stock");
    }
    sqlite3_reset(l->user);
    return err;
}

/* Give every item that the bound statement selects; ends the look. */
static enum lm_err give(struct look *l, lm_stock_fn *fn, void *ctx)
{
    struct lm_stock_item item;
    enum lm_err err = LM_OK;
    int rc = SQLITE_DONE;
    while (err == LM_OK && (rc = sqlite3_step(l->items)) == SQLITE_ROW) {
        take_item(l->items, &item);
        err = take_use(l, &item);
        err = err ? err : fn(&item, 0, ctx);
    }
    if (err == LM_OK && rc != SQLITE_DONE)
        err = lm_store_fail(l->store, "reading the stock");
    look_end(l);
    return err;
}

static const char by_strip[] = "SELECT " SQL_ITEM "WHERE s.strip = ?1 ORDER BY s.position";
static const char by_arrival[] =
    "SELECT " SQL_ITEM "JOIN (SELECT strip, min(id) AS arrived FROM stock GROUP BY strip) f "
    "ON f.strip = s.strip ORDER BY f.arrived, s.position";

enum lm_err lm_store_stock_each(
    struct lm_store *store, const char *strip, lm_stock_fn *fn, void *ctx)
{
    struct look l;
    bool own = false;
    enum lm_err err = lm_store_fresh(store);
    err = err ? err : lm_store_read_begin(store, &own);
    if (err != LM_OK)
        return err;
    err = look_begin(&l, store, strip != NULL ? by_strip : by_arrival);
    if (err == LM_OK && strip != NULL)
        sqlite3_bind_text(l.items, 1, strip, -1, SQLITE_STATIC);
    if (err == LM_OK)
        err = give(&l, fn, ctx);
    else
        look_end(&l);
    lm_store_read_end(store, own);
    return err;
}

static enum lm_err keep_first(const struct lm_stock_item *item, long line, void *ctx)
{
    struct lm_stock_item *out = ctx;
    (void) line;
    if (out->strip[0] == '\0')
        *out = *item;
    return LM_OK;
}

enum lm_err lm_store_stock_by_code(
    struct lm_store *store, struct lm_eid eid, struct lm_stock_item *out)
{
    struct look l;
    bool own = false;
    memset(out, 0, sizeof *out);
    enum lm_err err = lm_store_fresh(store);
    err = err ? err : lm_store_read_begin(store, &own);
    if (err != LM_OK)
        return err;
    err = look_begin(&l, store, "SELECT " SQL_ITEM "WHERE s.eid = ?1");
    if (err == LM_OK) {
        sqlite3_bind_int64(l.items, 1, (int64_t) lm_eid_key(eid));
        err = give(&l, keep_first, out);
    } else {
        look_end(&l);
    }
    lm_store_read_end(store, own);
    if (err == LM_OK && out->strip[0] == '\0')
        err = lm_problem_set(&store->problem, LM_ENOTFOUND,
            "bring supply lists in with "
            "`lugmark stock import`",
            "no strip of the stock has that code");
    return err;
}

enum lm_err lm_store_stock_by_number(
    struct lm_store *store, const char *visual, lm_stock_fn *fn, void *ctx)
{
    struct look l;
    char fold[LM_VISUAL_MAX + 1], clean[LM_VISUAL_MAX + 1];
    bool own = false;
    enum lm_err err = lm_store_fresh(store);
    err = err ? err : lm_store_read_begin(store, &own);
    if (err != LM_OK)
        return err;
    lm_text_copy(clean, sizeof clean, visual, strlen(visual));
    lm_visual_fold(clean, fold);
    err = look_begin(&l, store,
        "SELECT " SQL_ITEM "WHERE s.visual_fold <> '' AND s.visual_fold = ?1 ORDER BY s.id");
    if (err == LM_OK) {
        sqlite3_bind_text(l.items, 1, fold, -1, SQLITE_STATIC);
        err = give(&l, fn, ctx);
    } else {
        look_end(&l);
    }
    lm_store_read_end(store, own);
    return err;
}
