/*
 * The movements of a period, class by class.
 */
#include "lugmark/statement.h"

#include <stdlib.h>
#include <string.h>

/** What is kept of each record beside its stays. */
struct piece {
    uint8_t marks;
};

struct making {
    struct lm_statement *s;
    struct lm_book book;
    struct piece *pieces;
    size_t n_pieces, cap_pieces;
    size_t cap_classes;
    int32_t from, to;
};

static enum lm_err take_record(const struct lm_record *rec, long line, void *ctx)
{
    struct making *m = ctx;
    (void) line;
    if (m->n_pieces == m->cap_pieces) {
        size_t cap = m->cap_pieces ? m->cap_pieces * 2 : 256;
        void *more = realloc(m->pieces, cap * sizeof *m->pieces);
        if (!more)
            return LM_ENOMEM;
        m->pieces = more;
        m->cap_pieces = cap;
    }
    m->pieces[m->n_pieces++] = (struct piece){(uint8_t) lm_marks_of(rec, m->to)};
    return LM_OK;
}

/** Whole months from a birth to a day. */
static int months(int32_t born, int32_t day)
{
    struct lm_date b = lm_date_of_day(born), d = lm_date_of_day(day);
    return (d.year - b.year) * 12 + d.month - b.month - (d.day < b.day);
}

static uint8_t age_at(const struct lm_statement *s, int32_t born, int32_t day)
{
    int age = months(born, day);
    if (age < (int) s->limits.kid_months)
        return LM_AGE_KID;
    return age < (int) s->limits.yearling_months ? LM_AGE_YEARLING : LM_AGE_ADULT;
}

static uint8_t sex_of(const struct lm_roll_animal *a)
{
    if (a->castrated)
        return LM_CLASS_CASTRATED;
    return a->sex == LM_SEX_FEMALE ? LM_CLASS_FEMALE
           : a->sex == LM_SEX_MALE ? LM_CLASS_MALE
                                   : LM_CLASS_UNSAID;
}

/** The class of an animal on a day, made when new; NULL when out of memory. */
static struct lm_statement_class *class_at(
    struct making *m, const struct lm_roll_animal *a, int32_t day)
{
    struct lm_statement *s = m->s;
    uint8_t sex = sex_of(a), age = LM_AGE_UNSAID;
    if (a->born.year != 0)
        age = age_at(s, lm_date_days(a->born, 0), day);
    for (size_t i = 0; i < s->n_classes; i++) {
        struct lm_statement_class *c = &s->classes[i];
        if (c->age == age && c->sex == sex && strcmp(c->species, a->species) == 0)
            return c;
    }
    if (s->n_classes == m->cap_classes) {
        size_t cap = m->cap_classes ? m->cap_classes * 2 : 16;
        void *more = realloc(s->classes, cap * sizeof *s->classes);
        if (!more)
            return NULL;
        s->classes = more;
        m->cap_classes = cap;
    }
    struct lm_statement_class *c = &s->classes[s->n_classes++];
    memset(c, 0, sizeof *c);
    snprintf(c->species, sizeof c->species, "%s", a->species);
    c->age = age;
    c->sex = sex;
    return c;
}

static enum lm_move in_by(const struct lm_stay *stay)
{
    static const uint8_t moves[] = {[LM_CAME_BORN] = LM_MOVE_BORN,
        [LM_CAME_BOUGHT] = LM_MOVE_BOUGHT,
        [LM_CAME_MOVED] = LM_MOVE_IN,
        [LM_CAME_FOUND] = LM_MOVE_FOUND,
        [LM_CAME_UNSAID] = LM_MOVE_UNSAID};
    return (enum lm_move) moves[stay->came];
}

static enum lm_move out_by(const struct lm_stay *stay)
{
    static const uint8_t moves[] = {[LM_HERE_STILL] = LM_MOVE_BOOK,
        [LM_LEFT_SOLD] = LM_MOVE_SOLD,
        [LM_LEFT_MOVED] = LM_MOVE_OUT,
        [LM_LEFT_DIED] = LM_MOVE_DIED,
        [LM_LEFT_KILLED] = LM_MOVE_KILLED,
        [LM_LEFT_LOST] = LM_MOVE_LOST};
    return (enum lm_move) moves[stay->left];
}

static void doubt_stay(struct making *m, const struct lm_stay *stay)
{
    struct lm_statement_doubts *d = &m->s->doubts;
    if (stay->in_day >= m->from && stay->in_day <= m->to) {
        d->in_written += stay->in_written && stay->came != LM_CAME_UNSAID;
        d->unsaid += stay->came == LM_CAME_UNSAID;
    }
    d->out_written += stay->out_day >= m->from && stay->out_day <= m->to && stay->out_written;
}

/** One stay: where it enters the period and where it leaves it, each in the class it had then. */
static enum lm_err take_stay(
    struct making *m, const struct lm_roll_animal *a, const struct lm_stay *stay)
{
    if (stay->in_day > m->to || stay->out_day < m->from || stay->out_day == LM_DAY_BEGIN)
        return LM_OK;
    bool opens = stay->in_day<m->from, closes = stay->out_day> m->to;
    int32_t begins = opens ? m->from : stay->in_day, ends = closes ? m->to : stay->out_day;
    struct lm_statement_class *first = class_at(m, a, begins);
    size_t at = first ? (size_t) (first - m->s->classes) : 0;
    struct lm_statement_class *last = first ? class_at(m, a, ends) : NULL;
    if (!last)
        return LM_ENOMEM;
    first = &m->s->classes[at]; /* the list may have moved */
    first->n[opens ? LM_MOVE_OPENING : in_by(stay)]++;
    last->n[closes ? LM_MOVE_BOOK : out_by(stay)]++;
    first->n[LM_MOVE_AGED]--;
    last->n[LM_MOVE_AGED]++;
    doubt_stay(m, stay);
    return LM_OK;
}

static bool seen_in_count(const struct lm_inventory *count, const char *key)
{
    uint32_t i = count ? lm_roll_by_key(count->book.roll, key) : LM_NO_ANIMAL;
    return i != LM_NO_ANIMAL && lm_count_seen(count->count, i);
}

static enum lm_err take_animal(struct making *m, uint32_t i)
{
    struct lm_statement *s = m->s;
    struct lm_roll_animal a = lm_roll_animal(m->book.roll, i);
    const struct lm_stays *stays = &m->book.stays[i];
    bool opens = lm_stays_here(stays, m->from - 1), closes = lm_stays_here(stays, m->to);
    enum lm_err err = LM_OK;
    for (unsigned k = 0; k < stays->n && err == LM_OK; k++)
        err = take_stay(m, &a, &stays->stay[k]);
    if (err != LM_OK)
        return err;
    s->doubts.vague += lm_stays_vague(stays, m->from - 1) || lm_stays_vague(stays, m->to);
    s->doubts.late += opens && stays->written >= m->from && stays->written > m->book.begun;
    if (!closes)
        return LM_OK;
    s->marks[m->pieces[i].marks]++;
    if (a.born.year != 0 &&
        age_at(s, lm_date_days(a.born, 0), m->to) != age_at(s, lm_date_days(a.born, 1), m->to))
        s->doubts.age_vague++;
    if (seen_in_count(s->count, a.key)) {
        struct lm_statement_class *c = class_at(m, &a, m->to);
        if (!c)
            return LM_ENOMEM;
        c->identified++;
    }
    return LM_OK;
}

static int by_class(const void *a, const void *b)
{
    const struct lm_statement_class *x = a, *y = b;
    int d = strcmp(x->species, y->species);
    d = d ? d : (int) x->age - (int) y->age;
    return d ? d : (int) x->sex - (int) y->sex;
}

static void add_up(struct lm_statement *s)
{
    if (s->n_classes > 0)
        qsort(s->classes, s->n_classes, sizeof *s->classes, by_class);
    for (size_t i = 0; i < s->n_classes; i++) {
        for (unsigned k = 0; k < LM_MOVES; k++)
            s->total.n[k] += s->classes[i].n[k];
        s->total.identified += s->classes[i].identified;
    }
    if (s->count)
        s->identified_elsewhere = s->count->figures.identified - s->total.identified;
}

enum lm_err lm_statement_make(struct lm_store *store, struct lm_date from, struct lm_date to,
    const struct lm_statement_limits *limits, const struct lm_inventory *count,
    struct lm_statement *out)
{
    struct making m = {.s = out, .from = lm_date_days(from, 0), .to = lm_date_days(to, 1)};
    memset(out, 0, sizeof *out);
    if (from.day == 0 || to.day == 0 || m.from > m.to)
        return LM_EARG;
    out->from = from;
    out->to = to;
    out->limits = limits ? *limits : (struct lm_statement_limits){12, 24};
    out->count = count;
    enum lm_err err = lm_store_setting(store, "holding", out->holding, sizeof out->holding);
    err = err ? err : lm_book_load(store, 0, take_record, &m, &m.book);
    for (uint32_t i = 0; err == LM_OK && i < lm_roll_animals(m.book.roll); i++)
        err = take_animal(&m, i);
    if (err == LM_OK)
        add_up(out);
    lm_book_free(&m.book);
    free(m.pieces);
    if (err != LM_OK)
        lm_statement_free(out);
    return err;
}

void lm_statement_free(struct lm_statement *s)
{
    free(s->classes);
    memset(s, 0, sizeof *s);
}
