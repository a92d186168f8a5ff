/*
 * Taking sessions into a count: whom each saw, who was due, what it could not place.
 */
#include "race/count_priv.h"
#include "race/session_priv.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

struct lm_count *lm_count_new(const struct lm_roll *book, const struct lm_stays *stays, int32_t day)
{
    struct lm_count *c = calloc(1, sizeof *c);
    if (!c)
        return NULL;
    *c = (struct lm_count){.book = book,
        .stays = stays,
        .day = day,
        .first_day = LM_DAY_NEVER,
        .n_animals = lm_roll_animals(book)};
    c->seats = calloc((size_t) c->n_animals + 1, sizeof *c->seats);
    if (!c->seats || lm_arena_init(&c->arena) != LM_OK) {
        free(c->seats);
        free(c);
        return NULL;
    }
    return c;
}

void lm_count_free(struct lm_count *c)
{
    if (!c)
        return;
    lm_arena_free(&c->arena);
    free(c->seats);
    free(c->seen);
    free(c->notes);
    free(c);
}

bool lm_count_seen(const struct lm_count *c, uint32_t i)
{
    return i < c->n_animals && c->seats[i].times > 0;
}

/** One session being taken in. */
struct taking {
    struct lm_count *c;
    const struct lm_session *s;
    const struct lm_roll *roll;
    int32_t day;
    bool *unread; /**< by index in the session's roll */
    uint32_t own; /**< animals seen here that count */
    enum lm_err err;
};

static enum lm_err add_note(
    struct taking *t, struct note n, const char *key, const char *other, const char *text)
{
    struct lm_count *c = t->c;
    char fold[LM_VISUAL_MAX + 1];
    void *rows = c->notes;
    enum lm_err err = lm_session_grow(&rows, &c->cap_notes, c->n_notes, sizeof *c->notes);
    c->notes = rows;
    if (!lm_visual_fold(text, fold))
        snprintf(fold, sizeof fold, "%s", text);
    err = err ? err : lm_arena_intern(&c->arena, key, &n.key);
    err = err ? err : lm_arena_intern(&c->arena, other, &n.other);
    err = err ? err : lm_arena_intern(&c->arena, fold, &n.fold);
    err = err ? err : lm_arena_intern(&c->arena, text, &n.text);
    if (err)
        return err;
    n.session = c->n_sessions;
    n.order = c->n_notes;
    c->notes[c->n_notes++] = n;
    return LM_OK;
}

static bool in_this_session(const struct lm_count *c, uint32_t animal)
{
    for (uint32_t i = c->n_seen; i-- > 0 && c->seen[i].session == c->n_sessions;) {
        if (c->seen[i].animal == animal)
            return true;
    }
    return false;
}

/** An animal of the book was seen in this session; a second time changes nothing. */
static enum lm_err see(struct taking *t, uint32_t animal, bool maybe_again)
{
    struct lm_count *c = t->c;
    struct seat *seat = &c->seats[animal];
    void *rows = c->seen;
    if (maybe_again && seat->times > 0 && in_this_session(c, animal))
        return LM_OK;
    enum lm_err err = lm_session_grow(&rows, &c->cap_seen, c->n_seen, sizeof *c->seen);
    c->seen = rows;
    if (err)
        return err;
    c->seen[c->n_seen++] = (struct seen_in){animal, c->n_sessions};
    if (seat->times++ == 0)
        seat->day = t->day;
    seat->gone |= !lm_stays_maybe(&c->stays[animal], t->day);
    t->own++;
    return LM_OK;
}

/** The one animal of the book that has a code or a number now, or LM_NO_ANIMAL. */
static uint32_t owner_of_code(const struct lm_roll *book, struct lm_eid eid)
{
    struct lm_roll_hits it;
    struct lm_roll_device d;
    uint32_t one = LM_NO_ANIMAL;
    bool worn = false;
    if (!eid.known)
        return LM_NO_ANIMAL;
    for (bool ok = lm_roll_code_first(book, eid, &it, &d); ok;
         ok = lm_roll_code_next(book, &it, &d)) {
        if (worn && !d.gone && d.animal != one)
            return LM_NO_ANIMAL;
        if (!worn || !d.gone)
            one = d.animal;
        worn |= !d.gone;
    }
    return one;
}

static uint32_t owner_of_number(const struct lm_roll *book, const char *visual)
{
    struct lm_roll_hits it;
    struct lm_roll_device d;
    uint32_t one = LM_NO_ANIMAL;
    for (bool ok = lm_roll_visual_first(book, visual, &it, &d); ok;
         ok = lm_roll_visual_next(book, &it, &d)) {
        if (d.gone || d.animal == one)
            continue;
        if (one != LM_NO_ANIMAL)
            return LM_NO_ANIMAL;
        one = d.animal;
    }
    return one;
}

/** Who an animal of the session's roll is in the book: by key; if that is gone, by its code. */
static uint32_t in_book(const struct taking *t, uint32_t animal)
{
    struct lm_roll_animal a = lm_roll_animal(t->roll, animal);
    uint32_t found = lm_roll_by_key(t->c->book, a.key);
    for (uint32_t k = 0; k < a.n_devices && found == LM_NO_ANIMAL; k++) {
        struct lm_roll_device d = lm_roll_device(t->roll, animal, k);
        if (!d.gone)
            found = owner_of_code(t->c->book, d.eid);
    }
    return found;
}

static const char *key_of(const struct lm_roll *roll, uint32_t animal)
{
    return animal == LM_NO_ANIMAL ? "" : lm_roll_animal(roll, animal).key;
}

static void stranger(struct taking *t, const struct lm_finding *f)
{
    struct note n = {.kind = LM_COUNT_STRANGER, .reason = LM_REASONS, .eid = f->eid};
    uint32_t animal = owner_of_code(t->c->book, f->eid);
    if (!f->eid.known && f->text)
        animal = owner_of_number(t->c->book, f->text);
    if (animal != LM_NO_ANIMAL) {
        n.kind = LM_COUNT_ENTERED;
        t->c->seats[animal].entered = true;
        t->c->seats[animal].read |= f->eid.known != LM_EID_NONE;
        t->err = see(t, animal, true);
    }
    if (!t->err)
        t->err = add_note(t, n, key_of(t->c->book, animal), "", f->text ? f->text : "");
}

static void on_finding(const struct lm_finding *f, void *ctx)
{
    struct taking *t = ctx;
    enum lm_kind kind = lm_reason_kind(f->reason);
    bool shared = f->reason == LM_TWO_ANIMALS_ONE_CODE || f->reason == LM_TWO_ANIMALS_ONE_NUMBER;
    if (t->err)
        return;
    if (f->reason == LM_NOT_IN_REGISTER)
        stranger(t, f);
    else if (f->reason == LM_NO_READING)
        t->unread[f->animal] = true;
    else if (kind == LM_CONFLICT || shared)
        t->err = add_note(t,
            (struct note){.kind = LM_COUNT_CONTRADICTS, .reason = f->reason, .eid = f->eid},
            key_of(t->roll, f->animal), key_of(t->roll, f->other), f->text ? f->text : "");
}

static bool wears_code(const struct lm_roll *roll, uint32_t animal)
{
    struct lm_roll_animal a = lm_roll_animal(roll, animal);
    for (uint32_t k = 0; k < a.n_devices; k++) {
        struct lm_roll_device d = lm_roll_device(roll, animal, k);
        if (!d.gone && d.eid.known)
            return true;
    }
    return false;
}

static enum lm_err take_animal(struct taking *t, uint32_t i)
{
    bool expected = lm_roll_animal(t->roll, i).expected, seen = lm_session_seen(t->s, i);
    if (!expected && !seen)
        return LM_OK;
    uint32_t animal = in_book(t, i);
    if (animal == LM_NO_ANIMAL) {
        struct note gone = {.kind = LM_COUNT_TAKEN_BACK, .reason = LM_REASONS};
        t->own += seen;
        return seen ? add_note(t, gone, key_of(t->roll, i), "", "") : LM_OK;
    }
    struct seat *seat = &t->c->seats[animal];
    if (expected) {
        seat->expected = true;
        seat->due |= lm_stays_surely(&t->c->stays[animal], t->day);
    }
    if (!seen)
        return LM_OK;
    seat->unread |= t->unread[i];
    seat->read |= !t->unread[i] && wears_code(t->roll, i);
    /* two entries that became one, or a stranger who turned out to be this one, count once */
    bool other = strcmp(lm_roll_animal(t->c->book, animal).key, key_of(t->roll, i)) != 0;
    return see(t, animal, other || seat->entered);
}

static void add_heads(struct taking *t, const struct lm_summary *sum)
{
    struct lm_count *c = t->c;
    c->sightings += t->own;
    if (!sum->has_heads) {
        c->without_heads++;
        return;
    }
    c->heads += sum->heads;
    c->unidentified += (int64_t) sum->heads - t->own;
    c->nobody_known += sum->heads > t->own ? sum->heads - t->own : 0;
    c->heads_short |= sum->heads < t->own;
}

enum lm_err lm_count_session(struct lm_count *c, const struct lm_session *s, int32_t day)
{
    struct lm_summary sum;
    struct taking t = {.c = c, .s = s, .roll = lm_session_roll(s), .day = day};
    t.unread = calloc((size_t) lm_roll_animals(t.roll) + 1, sizeof *t.unread);
    if (!t.unread)
        return LM_ENOMEM;
    t.err = lm_session_findings(s, &sum, NULL, NULL);
    if (!t.err) {
        enum lm_err err = lm_session_findings(s, NULL, on_finding, &t);
        t.err = t.err ? t.err : err;
    }
    for (uint32_t i = 0; i < lm_roll_animals(t.roll) && !t.err; i++)
        t.err = take_animal(&t, i);
    if (!t.err) {
        add_heads(&t, &sum);
        if (day < c->first_day)
            c->first_day = day;
        c->n_sessions++;
    }
    free(t.unread);
    return t.err;
}
