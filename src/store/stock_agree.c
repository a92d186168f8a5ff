/* What the rows of a supply list must agree on among themselves. */
#include "stock_priv.h"

#include <stdarg.h>
#include <stdlib.h>
#include <string.h>

enum lm_err lm_stock_keep(struct stock_list *list, const struct lm_stock_item *item, long line)
{
    if (list->n == list->size) {
        size_t size = list->size ? list->size * 2 : 128;
        struct stock_row *rows =
            size < SIZE_MAX / sizeof *rows ? realloc(list->rows, size * sizeof *rows) : NULL;
        if (!rows)
            return LM_ENOMEM;
        list->rows = rows;
        list->size = size;
    }
    struct stock_row *row = &list->rows[list->n++];
    *row = (struct stock_row){.item = *item, .line = line, .order = (uint32_t) list->n};
    lm_visual_fold(item->visual, row->fold);
    return LM_OK;
}

void lm_stock_drop(struct stock_list *list)
{
    free(list->rows);
    *list = (struct stock_list){0};
}

bool lm_stock_is_set(const struct lm_stock_item *a, const struct lm_stock_item *b)
{
    return strcmp(a->strip, b->strip) != 0 && a->form != LM_DEVICE_UNKNOWN &&
           b->form != LM_DEVICE_UNKNOWN && a->form != b->form;
}

bool lm_stock_same_pair(const struct lm_stock_item *a, const struct lm_device *b)
{
    char x[LM_VISUAL_MAX + 1], y[LM_VISUAL_MAX + 1];
    bool codes = a->eid.known != LM_EID_NONE && b->eid.known != LM_EID_NONE;

    lm_visual_fold(a->visual, x);
    lm_visual_fold(b->visual, y);
    if (codes && lm_eid_key(a->eid) != lm_eid_key(b->eid))
        return false;
    if (x[0] && y[0])
        return strcmp(x, y) == 0;
    return codes;
}

static int first_come(const struct stock_row *x, const struct stock_row *y)
{
    return x->order != y->order ? (x->order < y->order ? -1 : 1) : 0;
}

static int by_strip_name(const void *a, const void *b)
{
    const struct stock_row *x = *(struct stock_row *const *) a, *y = *(struct stock_row *const *) b;
    int d = strcmp(x->item.strip, y->item.strip);
    return d ? d : first_come(x, y);
}

static int by_code(const void *a, const void *b)
{
    const struct stock_row *x = *(struct stock_row *const *) a, *y = *(struct stock_row *const *) b;
    uint64_t i = lm_eid_key(x->item.eid), j = lm_eid_key(y->item.eid);
    return i != j ? (i < j ? -1 : 1) : first_come(x, y);
}

static int by_number(const void *a, const void *b)
{
    const struct stock_row *x = *(struct stock_row *const *) a, *y = *(struct stock_row *const *) b;
    int d = strcmp(x->fold, y->fold);
    return d ? d : first_come(x, y);
}

static int by_place(const void *a, const void *b)
{
    const struct stock_row *x = a, *y = b;
    if (x->strip != y->strip)
        return x->strip < y->strip ? -1 : 1;
    if (x->item.position != y->item.position)
        return x->item.position < y->item.position ? -1 : 1;
    return first_come(x, y);
}

struct telling {
    const struct stock_places *places;
    lm_problem_fn *fn;
    void *ctx;
};

static void tell(const struct telling *t, const struct stock_row *row, enum stock_place at,
    const char *mend, const char *fmt, ...) __attribute__((format(printf, 5, 6)));

static void tell(const struct telling *t, const struct stock_row *row, enum stock_place at,
    const char *mend, const char *fmt, ...)
{
    struct lm_problem p = {.line = row->line, .column = t->places ? t->places->column[at] : 0};
    char what[LM_PROBLEM_TEXT_MAX];
    va_list args;

    va_start(args, fmt);
    vsnprintf(what, sizeof what, fmt, args);
    va_end(args);
    lm_problem_set(&p, LM_EINPUT, mend, "%s", what);
    t->fn(&p, t->ctx);
}

static void tell_positions(const struct stock_list *list, bool gaps, const struct telling *t)
{
    for (size_t i = 1; i < list->n; i++) {
        const struct stock_row *a = &list->rows[i - 1], *b = &list->rows[i];
        if (a->strip != b->strip)
            continue;
        if (a->item.position == b->item.position)
            tell(t, b, STOCK_AT_POSITION, "correct the position of one of the two",
                "position: strip %s has position %u already, on line %ld", b->item.strip,
                b->item.position, a->line);
        else if (gaps && a->item.position + 1 != b->item.position)
            tell(t, b, STOCK_AT_POSITION,
                "add the rows that are missing, or correct the positions; the order is evidence",
                "position: strip %s has a gap: %u follows %u", b->item.strip, b->item.position,
                a->item.position);
    }
}

static void tell_codes(struct stock_row **index, size_t n, const struct telling *t)
{
    qsort(index, n, sizeof *index, by_code);
    for (size_t i = 1, first = 0; i < n; i++) {
        char code[LM_EID_TEXT_SIZE];
        if (lm_eid_key(index[first]->item.eid) != lm_eid_key(index[i]->item.eid))
            first = i;
        else if (index[i]->item.eid.known != LM_EID_NONE)
            tell(t, index[i], STOCK_AT_EID,
                lm_eid_national(index[i]->item.eid) % 1000 == 0
                    ? "no two devices have one code; when many end in 000 a spreadsheet rounded "
                      "them: take the list as the supplier sent it"
                    : "no two devices have one code: look at the devices and correct one",
                "eid: the code %s is there already, on line %ld",
                lm_eid_format(index[i]->item.eid, code), index[first]->line);
    }
}

static void tell_numbers(struct stock_row **index, size_t n, const struct telling *t)
{
    qsort(index, n, sizeof *index, by_number);
    for (size_t i = 1, first = 0; i < n; i++) {
        if (strcmp(index[first]->fold, index[i]->fold) != 0)
            first = i;
        size_t j = i;
        while (
            index[i]->fold[0] && j > first && lm_stock_is_set(&index[j - 1]->item, &index[i]->item))
            j--;
        if (index[i]->fold[0] && j > first)
            tell(t, index[i], STOCK_AT_VISUAL,
                "correct one of the two; devices of a set stand on strips of different form",
                "visual: the number %.60s is there already, on line %ld", index[i]->item.visual,
                index[j - 1]->line);
    }
}

static void number_strips(struct stock_row **index, size_t n)
{
    qsort(index, n, sizeof *index, by_strip_name);
    /* The place of its first row is as good a rank as any, and needs no second sort. */
    for (size_t i = 0, first = 0; i < n; i++) {
        if (strcmp(index[first]->item.strip, index[i]->item.strip) != 0)
            first = i;
        index[i]->strip = index[first]->order;
    }
}

enum lm_err lm_stock_agree(struct stock_list *list, bool gaps, const struct stock_places *places,
    lm_problem_fn *fn, void *ctx)
{
    struct telling t = {places, fn, ctx};
    struct stock_row **index = calloc(list->n + 1, sizeof *index);

    if (!index)
        return LM_ENOMEM;
    for (size_t i = 0; i < list->n; i++)
        index[i] = &list->rows[i];
    number_strips(index, list->n);
    tell_codes(index, list->n, &t);
    tell_numbers(index, list->n, &t);
    free(index);
    if (list->n > 0)
        qsort(list->rows, list->n, sizeof *list->rows, by_place);
    tell_positions(list, gaps, &t);
    return LM_OK;
}

/* Compares as numbers when both are digits with the same letters before, else as text. */
static int number_order(const char *a, const char *b)
{
    size_t la = strlen(a), lb = strlen(b), pa, pb;

    for (pa = la; pa > 0 && a[pa - 1] >= '0' && a[pa - 1] <= '9'; pa--)
        ;
    for (pb = lb; pb > 0 && b[pb - 1] >= '0' && b[pb - 1] <= '9'; pb--)
        ;
    if (pa != pb || strncmp(a, b, pa) != 0)
        return strcmp(a, b);
    while (a[pa] == '0')
        pa++;
    while (b[pb] == '0')
        pb++;
    if (la - pa != lb - pb)
        return la - pa < lb - pb ? -1 : 1;
    return strcmp(a + pa, b + pb);
}

void lm_stock_orders(const struct stock_list *list, lm_problem_fn *fn, void *ctx)
{
    struct telling t = {NULL, fn, ctx};
    const struct stock_row *last = NULL;
    int way = 0; /* 1 up, -1 down, 0 not known yet */

    for (size_t i = 0; i < list->n; i++) {
        const struct stock_row *row = &list->rows[i];
        if (!last || last->strip != row->strip)
            way = 0;
        if (last && last->strip == row->strip && last->fold[0] && row->fold[0] && way != 2) {
            int now = number_order(last->fold, row->fold) < 0 ? 1 : -1;
            if (way != 0 && now != way) {
                tell(&t, row, STOCK_AT_VISUAL, "check the list against the strip, if you can",
                    "the printed numbers of strip %s do not run in order: %.60s follows %.60s",
                    row->item.strip, row->item.visual, last->item.visual);
                now = 2; /* once a strip */
            }
            way = now;
        }
        last = row;
    }
}
