/* The sieve as a whole: open, sieve, give what stays. */
#include "sieve.h"

#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "priv.h"

#define WINDOW 262144u

/* Names, then numbers: what is like another stays. Without names, numbers are the names, and
 * anything twice is for the plain way, which has more ways out. */
static bool find_twins(struct sieve_rows *rows)
{
    bool any = false;
    bool good =
        (!rows->named || lm_sieve_twins(rows->key, rows->key, rows->n, rows->flags, &any)) &&
        lm_sieve_twins(rows->number, rows->key, rows->n, rows->flags, &any);
    free(rows->key);
    free(rows->number);
    rows->key = rows->number = NULL;
    return good && (rows->named || !any);
}

struct lm_sieve *lm_sieve_files(
    const char *register_path, const char *readings_path, const char *mob)
{
    struct lm_sieve *s = calloc(1, sizeof *s);
    if (s == NULL)
        return NULL;
    s->reg.fd = s->in.fd = -1;
    if (lm_sieve_feed_open(&s->reg, register_path) && lm_sieve_feed_open(&s->in, readings_path) &&
        lm_sieve_rows(s, mob) && find_twins(&s->rows) && lm_sieve_codes(s) &&
        lm_sieve_readings(s) && lm_sieve_pick(s))
        return s;
    lm_sieve_free(s);
    return NULL;
}

void lm_sieve_free(struct lm_sieve *s)
{
    if (s == NULL)
        return;
    lm_sieve_feed_close(&s->reg);
    lm_sieve_feed_close(&s->in);
    free(s->rows.code);
    free(s->rows.slot);
    free(s->rows.at);
    free(s->rows.key);
    free(s->rows.number);
    free(s->rows.flags);
    free(s->codes.slots);
    free(s->readings.what);
    free(s->readings.after);
    free(s->readings.lane);
    free(s->readings.stays);
    free(s->readings.odd);
    free(s->readings.text);
    free(s->lines);
    free(s);
}

/* --- the lines that stay --- */

/* A part of the file, read again. */
struct window {
    int fd;
    uint64_t base;
    size_t have;
    char bytes[WINDOW];
};

/* Bytes from @p at up to @p want of them, fewer at the end of the file. */
static const char *look(struct window *w, uint64_t at, size_t want, size_t *have)
{
    if (at < w->base || at + want > w->base + w->have) {
        ssize_t n = pread(w->fd, w->bytes, WINDOW, (off_t) at);
        w->base = at;
        w->have = n > 0 ? (size_t) n : 0;
    }
    *have = (size_t) (w->base + w->have - at);
    return w->bytes + (at - w->base);
}

static bool add_line(struct lm_sieve *s, struct window *w, uint64_t at, size_t *room)
{
    size_t have, len;
    const char *line = look(w, at, 4096, &have), *end = memchr(line, '\n', have);
    if (end == NULL)
        line = look(w, at, WINDOW, &have), end = memchr(line, '\n', have);
    len = end != NULL ? (size_t) (end - line) : have;
    if (s->n_lines + len + 1 > *room) {
        char *bigger = realloc(s->lines, (*room + len) * 2 + 65536);
        if (bigger == NULL)
            return false;
        s->lines = bigger;
        *room = (*room + len) * 2 + 65536;
    }
    memcpy(s->lines + s->n_lines, line, len);
    s->n_lines += len;
    s->lines[s->n_lines++] = '\n';
    return true;
}

FILE *lm_sieve_register(struct lm_sieve *s)
{
    struct window *w = malloc(sizeof *w);
    size_t room = 0;
    if (w == NULL)
        return NULL;
    w->fd = s->reg.fd;
    w->base = w->have = 0;
    bool good = add_line(s, w, s->rows.header, &room);
    for (uint32_t i = 0; i < s->rows.n && good; i++)
        if (s->rows.flags[i] & ROW_STAYS)
            good = add_line(s, w, s->rows.at[i], &room);
    free(w);
    return good ? fmemopen(s->lines, s->n_lines, "r") : NULL;
}

/* --- the readings that stay --- */

bool lm_sieve_next(struct lm_sieve *s, struct lm_event *ev)
{
    const struct sieve_readings *r = &s->readings;
    while (s->next < r->n && !r->stays[s->next])
        s->next++;
    if (s->next == r->n)
        return false;
    uint32_t i = s->next++, what = r->what[i];
    ev->kind = LM_EVENT_READING;
    ev->t_ms = ev->clock_ms = r->after != NULL ? r->first + r->after[i] : LM_TIME_NONE;
    if (r->lane != NULL)
        memcpy(ev->lane, r->lanes[r->lane[i]], sizeof ev->lane);
    ev->doubt = LM_DOUBT_NONE;
    ev->text[0] = '\0';
    ev->cut = false;
    if (!(what & READING_ODD)) {
        ev->eid = lm_eid_from_key(s->codes.slots[what] & SLOT_CODE);
        return true;
    }
    const struct sieve_odd *odd = &r->odd[what & ~READING_ODD];
    ev->eid = (struct lm_eid){.bits = odd->bits, .known = odd->known};
    ev->doubt = (enum lm_doubt) odd->doubt;
    ev->cut = odd->cut;
    if (odd->text != 0)
        memcpy(ev->text, r->text + odd->text, strlen(r->text + odd->text) + 1);
    return true;
}

uint32_t lm_sieve_through(const struct lm_sieve *s)
{
    return s->through;
}
