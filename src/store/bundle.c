/* Uniting a bundle with the register: the order of it all, settings and stock. */
#include "bundle_priv.h"

#include "lugmark/decode.h"
#include "lugmark/stock.h"

#include <stdlib.h>
#include <string.h>

static enum lm_err is_virgin(struct lm_store *s, bool *virgin)
{
    sqlite3_stmt *st = lm_store_prepare(s, "SELECT NOT EXISTS (SELECT 1 FROM event) "
                                           "AND NOT EXISTS (SELECT 1 FROM animal) "
                                           "AND NOT EXISTS (SELECT 1 FROM stock)");
    if (st == NULL)
        return s->problem.err;
    enum lm_err err = LM_OK;
    if (sqlite3_step(st) == SQLITE_ROW)
        *virgin = sqlite3_column_int(st, 0) != 0;
    else
        err = lm_store_fail(s, "reading the register");
    sqlite3_finalize(st);
    return err;
}

static enum lm_err check_register(struct lm_store *s, struct bundle *b)
{
    char id[BUNDLE_ID_SIZE];
    bool virgin = false;
    const char *theirs = json_string_value(json_object_get(b->head, "register"));
    enum lm_err err = lm_store_setting(s, "id.register", id, sizeof id);
    if (err != LM_OK || strcmp(id, theirs) == 0)
        return err;
    err = is_virgin(s, &virgin);
    if (err == LM_OK && !virgin)
        err = lm_bundle_bad(b, LM_EINPUT, 1,
            "take it into a register of its own, begun with lugmark init --db FILE",
            "this bundle belongs to another register");
    return err ? err : lm_store_set(s, "id.register", theirs);
}

static enum lm_err unite_settings(struct lm_store *s, struct bundle *b, struct lm_united *u)
{
    enum lm_err err = LM_OK;
    size_t i;
    const json_t *line;
    json_array_foreach(b->settings, i, line)
    {
        char ours[LM_PROBLEM_TEXT_MAX];
        const char *key = json_string_value(json_object_get(line, "setting"));
        const char *value = json_string_value(json_object_get(line, "value"));
        if (strncmp(key, "id.", 3) == 0)
            return lm_bundle_bad(
                b, LM_EINPUT, 0, "make the bundle again", "it would change an identity");
        err = lm_store_setting(s, key, ours, sizeof ours);
        if (err == LM_OK && ours[0] == '\0')
            err = lm_store_set(s, key, value);
        else if (err == LM_OK && strcmp(ours, value) != 0)
            u->settings++;
        if (err != LM_OK)
            return err;
    }
    return LM_OK;
}

static bool text_into(const json_t *line, const char *key, char *out, size_t size)
{
    const char *text = json_string_value(json_object_get(line, key));
    size_t len = text != NULL ? strlen(text) : size;
    if (len >= size || (len > 0 && !lm_text_clean(text, len)))
        return false;
    snprintf(out, size, "%s", text);
    return true;
}

static bool take_item(const json_t *line, struct lm_stock_item *item)
{
    char eid[LM_EID_TEXT_SIZE + 8], date[LM_DATE_TEXT_SIZE], form[LM_NAME_MAX + 1];
    struct lm_decoded code = {0};
    enum lm_device_form kind = LM_DEVICE_UNKNOWN;
    json_int_t position = json_integer_value(json_object_get(line, "position"));
    *item = (struct lm_stock_item){0};
    if (!text_into(line, "strip", item->strip, sizeof item->strip) ||
        !text_into(line, "visual", item->visual, sizeof item->visual) ||
        !text_into(line, "colour", item->colour, sizeof item->colour) ||
        !text_into(line, "eid", eid, sizeof eid) || !text_into(line, "form", form, sizeof form) ||
        !text_into(line, "received", date, sizeof date) || position < 1 ||
        position > LM_STOCK_POSITION_MAX)
        return false;
    if (lm_date_parse(date, strlen(date), &item->received) != LM_OK ||
        lm_device_form_parse(form, &kind) != LM_OK ||
        (eid[0] != '\0' &&
            (lm_decode(eid, strlen(eid), &code, NULL) != LM_OK || code.eid.known == LM_EID_UID)))
        return false;
    item->eid = code.eid;
    item->position = (uint32_t) position;
    item->form = (uint8_t) kind;
    item->official = json_is_true(json_object_get(line, "official"));
    return item->strip[0] != '\0' && (eid[0] != '\0' || item->visual[0] != '\0');
}

/* *there: our stock has that place; *same: with the same device. */
static enum lm_err look_up(
    struct lm_store *s, sqlite3_stmt *st, const struct lm_stock_item *item, bool *there, bool *same)
{
    char fold[LM_VISUAL_MAX + 1];
    sqlite3_reset(st);
    struct lm_bind b = {st, 0};
    lm_bind_text(&b, item->strip);
    lm_bind_int(&b, item->position);
    int rc = sqlite3_step(st);
    *there = rc == SQLITE_ROW;
    if (rc != SQLITE_ROW)
        return rc == SQLITE_DONE ? LM_OK : lm_store_fail(s, "reading the stock");
    lm_visual_fold(item->visual, fold);
    const char *here = (const char *) sqlite3_column_text(st, 1);
    *same = (uint64_t) sqlite3_column_int64(st, 0) == lm_eid_key(item->eid) &&
            strcmp(here != NULL ? here : "", fold) == 0;
    return LM_OK;
}

/* What of the bundle's stock we do not have, in @p items. */
static enum lm_err pick_stock(
    struct lm_store *s, struct bundle *b, sqlite3_stmt *st, struct lm_stock_item *items, size_t *n)
{
    size_t i;
    const json_t *line;
    json_array_foreach(b->stock, i, line)
    {
        struct lm_stock_item *item = &items[*n];
        bool there = false, same = false;
        if (!take_item(line, item))
            return lm_bundle_bad(
                b, LM_EINPUT, 0, "make the bundle again", "a device of its stock cannot be read");
        enum lm_err err = look_up(s, st, item, &there, &same);
        if (err != LM_OK)
            return err;
        if (there && !same)
            return lm_bundle_bad(b, LM_EINPUT, 0,
                "look at the strip; one of the two supply lists is wrong",
                "strip %s has another device at position %u here", item->strip, item->position);
        *n += !there;
    }
    return LM_OK;
}

static enum lm_err add_stock(
    struct lm_store *s, struct bundle *b, struct lm_stock_item *items, struct lm_united *u)
{
    struct lm_stock_add how = {.name = b->name, .any_use = true};
    size_t n = 0;
    sqlite3_stmt *st = lm_store_prepare(
        s, "SELECT ifnull(eid, 0), visual_fold FROM stock WHERE strip = ?1 AND position = ?2");
    enum lm_err err = st != NULL ? pick_stock(s, b, st, items, &n) : s->problem.err;
    sqlite3_finalize(st);
    u->stock = (uint32_t) n;
    return err || n == 0 ? err : lm_store_stock_add(s, items, NULL, n, &how);
}

static enum lm_err unite_stock(struct lm_store *s, struct bundle *b, struct lm_united *u)
{
    struct lm_stock_item *items = calloc(json_array_size(b->stock) + 1, sizeof *items);
    enum lm_err err = items != NULL ? add_stock(s, b, items, u)
                                    : lm_problem_set(&s->problem, LM_ENOMEM, NULL, "out of memory");
    free(items);
    return err;
}

static enum lm_err unite(struct plan *p)
{
    enum lm_err err = check_register(p->store, p->b);
    err = err ? err : unite_settings(p->store, p->b, p->united);
    err = err ? err : lm_unite_make(p);
    err = err ? err : lm_unite_decide(p);
    err = err ? err : unite_stock(p->store, p->b, p->united);
    err = err ? err : lm_unite_apply(p);
    lm_unite_drop(p);
    return err;
}

enum lm_err lm_bundle_unite(struct lm_store *store, FILE *in, const char *name, int64_t t_ms,
    const struct lm_bundle_hooks *hooks, struct lm_united *out, struct lm_problem *p)
{
    struct lm_united local = {0};
    struct lm_problem why = {0};
    struct bundle b = {.name = name, .p = &why};
    struct plan plan = {.store = store, .b = &b, .hooks = hooks, .united = &local, .t_ms = t_ms};
    enum lm_scope scope;
    enum lm_err err = lm_store_fresh(store);
    err = err ? err : lm_bundle_load(&b, in);
    if (err == LM_OK) {
        err = lm_store_write_begin(store, true, &scope);
        err = err ? err : lm_store_write_end(store, scope, unite(&plan));
    }
    lm_bundle_drop(&b);
    if (err != LM_OK && why.err == LM_OK)
        why = store->problem;
    if (p != NULL)
        *p = why;
    if (out != NULL)
        *out = local;
    return err;
}
