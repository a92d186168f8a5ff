/*
 * The words of a statement, and what it has to say of itself.
 */
#include "lugmark/statement.h"
#include "report/statement_words.h"
#include "report/tongue.h"

#include <stdarg.h>
#include <string.h>

const char *lm_move_name(enum lm_move move)
{
    static const char *const names[LM_MOVES] = {"opening", "births", "bought", "moved-in",
        "found-again", "origin-not-said", "sold", "died", "killed-at-home", "moved-out", "lost",
        "age-class", "book"};
    return move < LM_MOVES ? names[move] : "";
}

int lm_move_sign(enum lm_move move)
{
    if (move == LM_MOVE_BOOK)
        return 0;
    return move >= LM_MOVE_SOLD && move <= LM_MOVE_LOST ? -1 : 1;
}

const char *lm_age_class_name(enum lm_age_class age)
{
    static const char *const names[LM_AGES] = {"kid", "yearling", "adult", "age not said"};
    return age < LM_AGES ? names[age] : "";
}

const char *lm_sex_class_name(enum lm_sex_class sex)
{
    static const char *const names[LM_SEX_CLASSES] = {
        "female", "male", "castrated", "sex not said"};
    return sex < LM_SEX_CLASSES ? names[sex] : "";
}

const char *lm_marks_name(enum lm_marks marks)
{
    static const char *const names[LM_MARKS_KINDS] = {
        "well", "one-lost", "electronic-lost", "all-lost", "never-marked"};
    return marks < LM_MARKS_KINDS ? names[marks] : "";
}

static bool worn_on(const struct lm_device *d, int32_t day)
{
    if (d->applied.year != 0 && lm_date_days(d->applied, 0) > day)
        return false;
    return !d->gone || (d->removed.year != 0 && lm_date_days(d->removed, 0) > day);
}

/** Whether another device came in the place of device @p k by that day. */
static bool replaced(const struct lm_record *rec, unsigned k, int32_t day)
{
    const struct lm_device *old = &rec->devices[k];
    for (unsigned i = 0; i < rec->n_devices; i++) {
        const struct lm_device *d = &rec->devices[i];
        if (i == k || (d->applied.year != 0 && lm_date_days(d->applied, 0) > day))
            continue;
        if (d->replaces == k + 1)
            return true;
        bool later = i > k && (d->applied.year == 0 || old->removed.year == 0 ||
                                  lm_date_days(d->applied, 1) >= lm_date_days(old->removed, 0));
        if (later && d->form == old->form && d->place == old->place)
            return true;
    }
    return false;
}

enum lm_marks lm_marks_of(const struct lm_record *rec, int32_t day)
{
    bool official = false, electronic = false, lost = false, electronic_lost = false;
    unsigned n = 0, worn = 0;
    for (unsigned k = 0; k < rec->n_devices; k++)
        official |= rec->devices[k].official;
    for (unsigned k = 0; k < rec->n_devices; k++) {
        const struct lm_device *d = &rec->devices[k];
        if ((official && !d->official) ||
            (d->applied.year != 0 && lm_date_days(d->applied, 0) > day))
            continue;
        n++;
        if (worn_on(d, day)) {
            worn++;
            electronic |= d->eid.known != LM_EID_NONE;
        } else if (!replaced(rec, k, day)) {
            lost = true;
            electronic_lost |= d->eid.known != LM_EID_NONE;
        }
    }
    if (worn == 0)
        return n > 0 ? LM_MARKS_ALL_LOST : LM_MARKS_NEVER;
    if (electronic_lost && !electronic)
        return LM_MARKS_ELECTRONIC_LOST;
    return lost ? LM_MARKS_ONE_LOST : LM_MARKS_WELL;
}

static bool same_day(struct lm_date a, struct lm_date b)
{
    return lm_date_days(a, 1) == lm_date_days(b, 1);
}

bool lm_statement_flagged(const struct lm_statement *s)
{
    const struct lm_statement_doubts *d = &s->doubts;
    if (d->in_written || d->out_written || d->vague || d->unsaid || s->total.n[LM_MOVE_LOST])
        return true;
    for (unsigned k = LM_MARKS_ONE_LOST; k < LM_MARKS_KINDS; k++) {
        if (s->marks[k])
            return true;
    }
    const struct lm_count_figures *f = s->count ? &s->count->figures : NULL;
    return f && (lm_count_flagged(f) || !f->has_heads || f->heads != f->book);
}

static const char *as_it_is(const char *english)
{
    return english;
}

static const char *counted(const char *one, const char *many, unsigned long n)
{
    return n == 1 ? one : many;
}

static const struct lm_speech english = {as_it_is, counted};

struct notes {
    void (*fn)(const char *note, void *ctx);
    void *ctx;
    const struct lm_speech *in;
    size_t n;
};

/* A whole sentence in English, marked with N_(): it is translated here. */
static void __attribute__((format(printf, 2, 3))) say(struct notes *notes, const char *fmt, ...)
{
    char line[480];
    va_list ap;
    va_start(ap, fmt);
    vsnprintf(line, sizeof line, notes->in->text(fmt), ap);
    va_end(ap);
    notes->n++;
    if (notes->fn)
        notes->fn(line, notes->ctx);
}

/* The same of animals, where there are any. */
static void __attribute__((format(printf, 3, 5), format(printf, 4, 5)))
say_of(struct notes *notes, uint32_t n, const char *one, const char *many, ...)
{
    char line[480];
    va_list ap;
    if (n == 0)
        return;
    va_start(ap, many);
    vsnprintf(line, sizeof line, notes->in->counted(one, many, n), ap);
    va_end(ap);
    notes->n++;
    if (notes->fn)
        notes->fn(line, notes->ctx);
}

static void count_notes(struct notes *notes, const struct lm_statement *s)
{
    char day[LM_DATE_TEXT_SIZE];
    const struct lm_inventory *c = s->count;
    if (!c) {
        say(notes, N_("No count was named: heads and identified animals are not known, and nothing "
                      "says whether the book is true."));
        return;
    }
    if (!same_day(c->cutoff, s->to))
        say(notes,
            N_("The count is as at the end of %s, not of the last day of this statement; the "
               "difference is to the book of that day, %u."),
            lm_date_format(c->cutoff, day), c->figures.book);
    if (c->closed_ms == LM_TIME_NONE)
        say(notes, N_("The count is not closed: it can still change."));
    if (!c->figures.has_heads)
        say(notes, N_("%u of the %u sessions of the count have no head count."),
            c->figures.without_heads, c->figures.sessions);
}

static void doubt_notes(struct notes *notes, const struct lm_statement_doubts *d)
{
    say_of(notes, d->unsaid,
        "%u animal: without a birth date and without a word where from; taken as come on the day "
        "they were written down.",
        "%u animals: without a birth date and without a word where from; taken as come on the day "
        "they were written down.",
        d->unsaid);
    say_of(notes, d->in_written,
        "%u animal: the day they came is only the day that was written down.",
        "%u animals: the day they came is only the day that was written down.", d->in_written);
    say_of(notes, d->out_written,
        "%u animal: the day they left is only the day that was written down.",
        "%u animals: the day they left is only the day that was written down.", d->out_written);
    say_of(notes, d->vague,
        "%u animal: a date is known only to the month or year and may put them on the other side "
        "of the first or last day. Taken: came on the first day it can mean, left on the last.",
        "%u animals: a date is known only to the month or year and may put them on the other side "
        "of the first or last day. Taken: came on the first day it can mean, left on the last.",
        d->vague);
    say_of(notes, d->age_vague,
        "%u animal: the birth date is too rough for the age class; taken as born on its first day.",
        "%u animals: the birth date is too rough for the age class; taken as born on its first "
        "day.",
        d->age_vague);
    say_of(notes, d->late, "%u animal: in the opening, but first written down after it.",
        "%u animals: in the opening, but first written down after it.", d->late);
}

size_t lm_statement_notes(const struct lm_statement *s, const struct lm_speech *in,
    void (*fn)(const char *note, void *ctx), void *ctx)
{
    struct notes notes = {fn, ctx, in ? in : &english, 0};
    count_notes(&notes, s);
    doubt_notes(&notes, &s->doubts);
    if (s->total.n[LM_MOVE_BORN])
        say(&notes, N_("Births are animals whose birth date lies in the period and whose first "
                       "entry does not say that they were bought or moved in."));
    return notes.n;
}

const char *lm_statement_words(const char *name, char out[LM_STATEMENT_WORD])
{
    char key[LM_STATEMENT_WORD];
    int n = snprintf(key, sizeof key, "movement|%s", name);
    for (int i = 0; i < n && key[i] != '\0'; i++)
        key[i] = key[i] == '-' ? ' ' : key[i];
    const char *word = lm_tongue(key);
    snprintf(out, LM_STATEMENT_WORD, "%s", word == key ? name : word);
    return out;
}
