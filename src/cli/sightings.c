/* Numbers called by people, from a file. */
#include "sightings.h"

#include <stdlib.h>
#include <string.h>

#include "lugmark/decode.h"
#include "table.h"

#define NOBODY UINT32_MAX

enum { TIME, LANE, VISUAL, WITH };

static const struct lm_table_plan plan = {
    .columns = {"time", "lane", "visual", "with"},
    .enough = 1u << VISUAL,
    .plain = VISUAL,
    .least = 3,
};

struct sighting {
    int64_t t_ms;
    struct lm_eid with;
    long line;
    uint32_t text;      /* place in `texts`: the number, NUL, the lane, NUL */
    uint32_t next_same; /* the next one with the same code, or NOBODY */
    bool due, done;
};

/* A code that sightings go with. */
struct awaited {
    uint64_t key; /* 0: the slot is free; no code has this key */
    uint32_t first, last;
    bool read;
};

struct lm_sightings {
    const char *name;
    bool timed;
    struct sighting *all;
    size_t n, room, next;
    char *texts;
    size_t texts_len, texts_room;
    struct awaited *codes; /* open addressing, at most half full */
    size_t n_codes;        /* a power of two, or 0 */
};

static void *grow(void *block, size_t *room, size_t need, size_t size)
{
    if (need <= *room)
        return block;
    size_t more = *room * 2 > need ? *room * 2 : need + 64;
    void *bigger = realloc(block, more * size);
    if (bigger != NULL)
        *room = more;
    return bigger;
}

static enum lm_err keep_text(struct lm_sightings *s, const char *text)
{
    size_t len = strlen(text) + 1;
    if (s->texts_len + len >= UINT32_MAX)
        return LM_ENOMEM;
    char *bigger = grow(s->texts, &s->texts_room, s->texts_len + len, 1);
    if (bigger == NULL)
        return LM_ENOMEM;
    s->texts = bigger;
    memcpy(s->texts + s->texts_len, text, len);
    s->texts_len += len;
    return LM_OK;
}

static enum lm_err bad_cell(
    const struct lm_table *t, int column, struct lm_problem *p, const char *mend, const char *what)
{
    struct lm_cell cell = lm_table_cell(t, column);
    char clean[64];
    lm_text_copy(clean, sizeof clean, cell.text, cell.len);
    lm_table_place(t, column, p);
    return lm_problem_set(p, LM_EINPUT, mend, "%s: \"%s\"", what, clean);
}

static enum lm_err parse_row(
    const struct lm_table *t, struct sighting *one, char *visual, char *lane, struct lm_problem *p)
{
    struct lm_cell number = lm_table_cell(t, VISUAL), where = lm_table_cell(t, LANE);
    struct lm_cell when = lm_table_cell(t, TIME), with = lm_table_cell(t, WITH);
    struct lm_decoded code = {0};
    if (number.len == 0)
        return bad_cell(t, VISUAL, p, "fill in the number or leave the row out", "no number");
    if (!lm_text_copy(visual, LM_VISUAL_MAX + 1, number.text, number.len))
        return bad_cell(t, VISUAL, p, "at most 127 bytes of UTF-8", "this is no printed number");
    if (!lm_text_copy(lane, LM_NAME_MAX + 1, where.text, where.len))
        return bad_cell(t, LANE, p, "at most 63 bytes of UTF-8", "this is no lane");
    one->t_ms = LM_TIME_NONE;
    if (when.len > 0 && lm_time_parse(when.text, when.len, &one->t_ms) != LM_OK)
        return bad_cell(t, TIME, p, "write it as 2026-11-02T08:00:01Z", "this is no time");
    if (with.len > 0 && lm_decode(with.text, with.len, &code, NULL) != LM_OK)
        return bad_cell(t, WITH, p, "the code of the pass it belongs to, or nothing",
            "this is no electronic code");
    one->with = code.eid;
    one->line = t->lines.line;
    one->next_same = NOBODY;
    return LM_OK;
}

static enum lm_err keep(
    struct lm_sightings *s, const struct sighting *one, const char *visual, const char *lane)
{
    struct sighting *bigger = grow(s->all, &s->room, s->n + 1, sizeof *bigger);
    if (bigger == NULL || s->n >= NOBODY - 1)
        return LM_ENOMEM;
    s->all = bigger;
    s->all[s->n] = *one;
    s->all[s->n].text = (uint32_t) s->texts_len;
    enum lm_err err = keep_text(s, visual);
    if (err == LM_OK)
        err = keep_text(s, lane);
    s->n++;
    return err;
}

static enum lm_err read_rows(
    struct lm_sightings *s, struct lm_table *table, struct lm_problems *problems)
{
    for (;;) {
        struct lm_problem p = {0};
        struct sighting one = {0};
        char visual[LM_VISUAL_MAX + 1], lane[LM_NAME_MAX + 1];
        enum lm_err err = lm_table_next(table, &p);
        if (err == LM_OK)
            err = parse_row(table, &one, visual, lane, &p);
        if (err == LM_OK)
            err = keep(s, &one, visual, lane);
        if (err == LM_EINPUT)
            lm_problems_add(&p, problems);
        else if (err != LM_OK)
            return err;
    }
}

/* Slot of a code: its own, or the free one where it belongs. */
static struct awaited *slot(const struct lm_sightings *s, uint64_t key)
{
    size_t i = (size_t) (key * UINT64_C(0x9E3779B97F4A7C15) >> 20) & (s->n_codes - 1);
    while (s->codes[i].key != 0 && s->codes[i].key != key)
        i = (i + 1) & (s->n_codes - 1);
    return &s->codes[i];
}

/* Chain the sightings of each code in the order of the file. */
static enum lm_err index_codes(struct lm_sightings *s)
{
    for (s->n_codes = 16; s->n_codes < 2 * s->n;)
        s->n_codes *= 2;
    s->codes = calloc(s->n_codes, sizeof *s->codes);
    if (s->codes == NULL)
        return LM_ENOMEM;
    for (uint32_t i = 0; i < s->n; i++) {
        uint64_t key = lm_eid_key(s->all[i].with);
        if (key == 0)
            continue;
        struct awaited *a = slot(s, key);
        if (a->key == 0)
            *a = (struct awaited){.key = key, .first = i, .last = i};
        else
            s->all[a->last].next_same = i;
        a->last = i;
    }
    return LM_OK;
}

struct lm_sightings *lm_sightings_read(FILE *in, const char *name, struct lm_problems *problems)
{
    struct lm_sightings *s = calloc(1, sizeof *s);
    struct lm_table *table = calloc(1, sizeof *table);
    struct lm_problem p = {0};
    enum lm_err err = LM_ENOMEM;
    if (s != NULL && table != NULL) {
        s->name = name;
        err = lm_table_begin(table, in, name, &plan, &p);
        if (err != LM_OK)
            lm_problems_add(&p, problems);
        else if ((err = read_rows(s, table, problems)) == LM_EAGAIN)
            err = index_codes(s);
        s->timed = lm_table_has(table, TIME);
        lm_table_end(table);
    }
    free(table);
    if (err == LM_OK)
        return s;
    if (problems->count == 0)
        lm_fail(LM_EXIT_FAILED, NULL, "%s could not be read: %s", name, lm_err_str(err));
    lm_sightings_free(s);
    return NULL;
}

void lm_sightings_free(struct lm_sightings *s)
{
    if (s == NULL)
        return;
    free(s->all);
    free(s->texts);
    free(s->codes);
    free(s);
}

bool lm_sightings_timed(const struct lm_sightings *s)
{
    return s->timed;
}

static enum lm_err give_one(
    struct lm_sightings *s, struct sighting *one, lm_give_fn *give, void *ctx)
{
    const char *visual = s->texts + one->text;
    struct lm_event ev = {
        .kind = LM_EVENT_SIGHTING, .t_ms = one->t_ms, .clock_ms = one->t_ms, .eid = one->with};
    snprintf(ev.text, sizeof ev.text, "%s", visual);
    snprintf(ev.lane, sizeof ev.lane, "%s", visual + strlen(visual) + 1);
    one->done = true;
    return give(&ev, s->name, one->line, ctx);
}

static bool must_wait(const struct lm_sightings *s, const struct sighting *one)
{
    uint64_t key = lm_eid_key(one->with);
    return key != 0 && !slot(s, key)->read;
}

enum lm_err lm_sightings_before(struct lm_sightings *s, int64_t t_ms, lm_give_fn *give, void *ctx)
{
    enum lm_err err = LM_OK;
    for (; err == LM_OK && s->next < s->n; s->next++) {
        struct sighting *one = &s->all[s->next];
        if (one->t_ms != LM_TIME_NONE && one->t_ms >= t_ms)
            break;
        one->due = true;
        if (!must_wait(s, one))
            err = give_one(s, one, give, ctx);
    }
    return err;
}

enum lm_err lm_sightings_after(
    struct lm_sightings *s, struct lm_eid eid, lm_give_fn *give, void *ctx)
{
    uint64_t key = lm_eid_key(eid);
    struct awaited *a = key != 0 ? slot(s, key) : NULL;
    if (a == NULL || a->key == 0 || a->read)
        return LM_OK;
    a->read = true;
    enum lm_err err = LM_OK;
    for (uint32_t i = a->first; err == LM_OK && i != NOBODY; i = s->all[i].next_same)
        if (s->all[i].due && !s->all[i].done)
            err = give_one(s, &s->all[i], give, ctx);
    return err;
}

enum lm_err lm_sightings_rest(struct lm_sightings *s, lm_give_fn *give, void *ctx)
{
    enum lm_err err = LM_OK;
    for (size_t i = 0; err == LM_OK && i < s->n; i++)
        if (!s->all[i].done)
            err = give_one(s, &s->all[i], give, ctx);
    s->next = s->n;
    return err;
}
