/* The device that is put on: where it comes from, and what about it makes one look again. */
#include "marks.h"

#include <string.h>

#include "open_db.h"
#include "problem.h"
#include "report/tongue.h"

static bool found(const struct lm_stock_item *item)
{
    return item->strip[0] != '\0';
}

struct by_number {
    struct lm_stock_item *out;
    const char *strip; /* wanted, or NULL */
    unsigned n;
};

static enum lm_err take_number(const struct lm_stock_item *item, long line, void *ctx)
{
    struct by_number *b = ctx;
    (void) line;
    if (b->strip != NULL && strcmp(b->strip, item->strip) != 0)
        return LM_OK;
    if (b->n++ == 0)
        *b->out = *item;
    return LM_OK;
}

/* The item that a device is, by its code, else by its number when only one strip has that. */
static enum lm_err look_up(struct lm_store *store, const char *strip,
    const struct lm_device *device, struct lm_stock_item *item)
{
    struct by_number b = {.out = item, .strip = strip};
    enum lm_err err = LM_ENOTFOUND;
    *item = (struct lm_stock_item){0};
    if (lm_eid_key(device->eid) != 0)
        err = lm_store_stock_by_code(store, device->eid, item);
    if (err == LM_ENOTFOUND && device->visual[0] != '\0') {
        err = lm_store_stock_by_number(store, device->visual, take_number, &b);
        if (b.n > 1)
            item->strip[0] = '\0';
    }
    return err == LM_ENOTFOUND ? LM_OK : err;
}

static void fill(
    const struct lm_args *args, const struct lm_stock_item *item, struct lm_device *device)
{
    if (device->eid.known == LM_EID_NONE)
        device->eid = item->eid;
    if (device->visual[0] == '\0')
        snprintf(device->visual, sizeof device->visual, "%s", item->visual);
    if (device->colour[0] == '\0')
        snprintf(device->colour, sizeof device->colour, "%s", item->colour);
    if (device->form == LM_DEVICE_UNKNOWN)
        device->form = item->form;
    if (!lm_arg_given(args, "official"))
        device->official = item->official;
}

int lm_marks_from_stock(
    struct lm_store *store, const struct lm_args *args, const char *strip, struct lm_device *device)
{
    struct lm_stock_item item;
    bool named = lm_eid_key(device->eid) != 0 || device->visual[0] != '\0';
    char clean[LM_NAME_MAX + 1];
    enum lm_err err = LM_OK;
    if (named)
        err = look_up(store, strip, device, &item);
    else if (strip != NULL)
        err = lm_store_stock_next(store, strip, &item);
    else
        return LM_EXIT_OK;
    if (err == LM_ENOTFOUND)
        return lm_fail(LM_EXIT_INPUT, _("see lugmark stock"),
            _("there is no strip %s in the stock, or all of it is used"),
            lm_clean(clean, sizeof clean, strip));
    if (err != LM_OK)
        return lm_db_fail(store);
    if (found(&item))
        fill(args, &item, device);
    return LM_EXIT_OK;
}

static void check_pair(struct lm_warnings *w, const struct lm_stock_item *item,
    const struct lm_device *device, const struct lm_stock_item *other)
{
    char code[LM_EID_TEXT_SIZE];
    char fold[LM_VISUAL_MAX + 1], theirs[LM_VISUAL_MAX + 1];
    lm_visual_fold(device->visual, fold);
    if (found(item) && lm_visual_fold(item->visual, theirs) > 0 && fold[0] != '\0' &&
        strcmp(fold, theirs) != 0)
        lm_warn(w, "allow-pair",
            "the supply list has code %s with the number %s (strip %s, place %u), not with %s",
            lm_eid_format(device->eid, code), item->visual, item->strip, item->position,
            device->visual);
    else if (!found(item) && found(other) && lm_eid_key(other->eid) != 0 &&
             lm_eid_key(device->eid) != 0 && lm_eid_key(other->eid) != lm_eid_key(device->eid))
        lm_warn(w, "allow-pair", "the supply list has the number %s with another code, %s",
            device->visual, lm_eid_format(other->eid, code));
}

static enum lm_err check_strip(
    struct lm_store *store, struct lm_warnings *w, const struct lm_stock_item *item)
{
    struct lm_stock_item next;
    char code[LM_EID_TEXT_SIZE];
    if (!found(item))
        return LM_OK;
    enum lm_err err = lm_store_stock_next(store, item->strip, &next);
    if (err == LM_OK && next.position < item->position)
        lm_warn(w, "allow-skip",
            "next on strip %s is %s at place %u, and this is place %u: is one missing, or are we "
            "one out from here?",
            item->strip, next.visual[0] != '\0' ? next.visual : lm_eid_format(next.eid, code),
            next.position, item->position);
    return err == LM_ENOTFOUND ? LM_OK : err;
}

struct carriers {
    struct lm_warnings *w;
    const char *key;
    const struct lm_device *device;
    char fold[LM_VISUAL_MAX + 1];
    bool by_code;
};

static void warn_worn(struct lm_warnings *w, const struct lm_device *d, const char *key)
{
    char code[LM_EID_TEXT_SIZE];
    lm_eid_format(d->eid, code);
    if (d->gone)
        lm_warn(w, "allow-number", "code %s was worn by animal %s", code, key);
    else
        lm_warn(w, "allow-number", "code %s is worn by animal %s", code, key);
}

static enum lm_err check_carrier(const struct lm_record *rec, long line, void *ctx)
{
    const struct carriers *c = ctx;
    char fold[LM_VISUAL_MAX + 1];
    (void) line;
    for (unsigned i = 0; strcmp(rec->key, c->key) != 0 && i < rec->n_devices; i++) {
        const struct lm_device *d = &rec->devices[i];
        lm_visual_fold(d->visual, fold);
        if (c->by_code && lm_eid_key(d->eid) == lm_eid_key(c->device->eid))
            warn_worn(c->w, d, rec->key);
        else if (!c->by_code && fold[0] != '\0' && strcmp(fold, c->fold) == 0 && !d->gone &&
                 rec->status == LM_ON_FARM)
            lm_warn(
                c->w, "allow-number", "animal %s wears the number %s already", rec->key, d->visual);
    }
    return LM_OK;
}

int lm_marks_check(struct lm_store *store, const char *key, const struct lm_device *device,
    struct lm_warnings *warnings)
{
    struct lm_stock_item item = {0}, other = {0};
    struct lm_device number = {0};
    struct carriers c = {.w = warnings, .key = key, .device = device};
    char code[LM_EID_TEXT_SIZE];
    enum lm_err err = LM_OK;
    if (lm_eid_key(device->eid) != 0)
        err = lm_store_stock_by_code(store, device->eid, &item);
    if (err == LM_ENOTFOUND)
        item = (struct lm_stock_item){0};
    snprintf(number.visual, sizeof number.visual, "%s", device->visual);
    err = err == LM_OK || err == LM_ENOTFOUND ? look_up(store, NULL, &number, &other) : err;
    if (err == LM_OK) {
        check_pair(warnings, &item, device, &other);
        err = check_strip(store, warnings, found(&item) ? &item : &other);
    }
    lm_visual_fold(device->visual, c.fold);
    if (err == LM_OK && c.fold[0] != '\0')
        err = lm_store_find(store, device->visual, 0, check_carrier, &c);
    c.by_code = true;
    if (err == LM_OK && lm_eid_key(device->eid) != 0)
        err = lm_store_find(store, lm_eid_format(device->eid, code), 0, check_carrier, &c);
    return err == LM_OK ? LM_EXIT_OK : lm_db_fail(store);
}
