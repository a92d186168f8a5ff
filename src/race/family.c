/* Parentage that cannot be: an animal above itself, parents younger than their kids. */
#include "lugmark/family.h"

#include "race/arena.h"

#include <stdlib.h>
#include <string.h>

#define NOBODY UINT32_MAX

struct member {
    uint32_t key, dam, sire; /* texts in the arena */
    uint32_t parent[2];      /* place of dam and sire, or NOBODY */
    long line;
    struct lm_date born;
    uint8_t sex;
    uint8_t mark; /* 0 not yet walked, 1 above the one being walked, 2 done */
};

struct lm_family {
    struct lm_arena arena;
    struct member *members;
    uint32_t n, room;
    uint32_t *by_key; /* places in order of the keys, made for the check */
};

struct lm_family *lm_family_new(void)
{
    struct lm_family *family = calloc(1, sizeof *family);
    if (family != NULL && lm_arena_init(&family->arena) != LM_OK) {
        free(family);
        return NULL;
    }
    return family;
}

void lm_family_free(struct lm_family *family)
{
    if (family == NULL)
        return;
    lm_arena_free(&family->arena);
    free(family->members);
    free(family->by_key);
    free(family);
}

enum lm_err lm_family_add(struct lm_family *family, const struct lm_record *rec, long line)
{
    if (family->n == family->room) {
        uint32_t room = family->room != 0 ? family->room * 2 : 256;
        struct member *grown = realloc(family->members, room * sizeof *grown);
        if (grown == NULL)
            return LM_ENOMEM;
        family->members = grown;
        family->room = room;
    }
    struct member *m = &family->members[family->n++];
    memset(m, 0, sizeof *m);
    enum lm_err err = lm_arena_intern(&family->arena, rec->key, &m->key);
    err = err ? err : lm_arena_intern(&family->arena, rec->dam, &m->dam);
    err = err ? err : lm_arena_intern(&family->arena, rec->sire, &m->sire);
    m->born = rec->born;
    m->sex = rec->sex;
    m->line = line;
    return err;
}

static const char *text(const struct lm_family *f, uint32_t at)
{
    return lm_arena_at(&f->arena, at);
}

static int compare(const void *a, const void *b, void *ctx)
{
    const struct lm_family *f = ctx;
    uint32_t i = *(const uint32_t *) a, j = *(const uint32_t *) b;
    int order = strcmp(text(f, f->members[i].key), text(f, f->members[j].key));
    return order != 0 ? order : i < j ? -1 : i > j;
}

static uint32_t place_of(const struct lm_family *f, const char *key)
{
    uint32_t low = 0, high = f->n;
    while (low < high) {
        uint32_t mid = low + (high - low) / 2;
        if (strcmp(key, text(f, f->members[f->by_key[mid]].key)) <= 0)
            high = mid;
        else
            low = mid + 1;
    }
    if (key[0] == '\0' || low == f->n || strcmp(key, text(f, f->members[f->by_key[low]].key)) != 0)
        return NOBODY;
    return f->by_key[low];
}

static enum lm_err link_all(struct lm_family *f)
{
    free(f->by_key);
    f->by_key = malloc((f->n + 1u) * sizeof *f->by_key);
    if (f->by_key == NULL)
        return LM_ENOMEM;
    for (uint32_t i = 0; i < f->n; i++)
        f->by_key[i] = i;
    qsort_r(f->by_key, f->n, sizeof *f->by_key, compare, f);
    for (uint32_t i = 0; i < f->n; i++) {
        struct member *m = &f->members[i];
        bool first = place_of(f, text(f, m->key)) == i;
        m->parent[0] = first ? place_of(f, text(f, m->dam)) : NOBODY;
        m->parent[1] = first ? place_of(f, text(f, m->sire)) : NOBODY;
        m->mark = 0;
    }
    return LM_OK;
}

struct telling {
    const struct lm_family *family;
    lm_family_fn *fn;
    void *ctx;
};

static void tell(const struct telling *t, uint32_t kid, uint32_t parent, enum lm_family_fault fault)
{
    const struct member *k = &t->family->members[kid], *p = &t->family->members[parent];
    if (k->line == 0 && p->line == 0)
        return;
    struct lm_family_problem problem = {.fault = fault,
        .animal = text(t->family, k->key),
        .parent = text(t->family, p->key),
        .born = k->born,
        .parent_born = p->born,
        .line = k->line != 0 ? k->line : p->line};
    t->fn(&problem, t->ctx);
}

static void check_pair(const struct telling *t, uint32_t kid, uint32_t parent, bool dam)
{
    const struct member *k = &t->family->members[kid], *p = &t->family->members[parent];
    if (kid == parent)
        return; /* told as its own parent */
    if (p->sex == (dam ? LM_SEX_MALE : LM_SEX_FEMALE))
        tell(t, kid, parent, dam ? LM_FAMILY_DAM_MALE : LM_FAMILY_SIRE_FEMALE);
    if (k->born.year == 0 || p->born.year == 0)
        return;
    /* The most days that can lie between: the parent born early, the kid late. */
    int32_t most = lm_date_days(k->born, 1) - lm_date_days(p->born, 0);
    if (most < 0)
        tell(t, kid, parent, LM_FAMILY_YOUNGER_PARENT);
    else if (dam && most < LM_DAM_DAYS_MIN)
        tell(t, kid, parent, LM_FAMILY_DAM_TOO_YOUNG);
}

struct step {
    uint32_t at;
    unsigned next; /* which parent comes next: 0, 1, then done */
};

/*
 * Whether the line that goes round, which begins at @p from on the stack, touches an animal to be
 * looked at: then the fault is told of that one, else of nobody.
 */
static uint32_t to_tell(const struct lm_family *f, const struct step *stack, size_t from, size_t n)
{
    for (size_t i = from; i < n; i++)
        if (f->members[stack[i].at].line != 0)
            return stack[i].at;
    return NOBODY;
}

/* Up from one animal, with a stack of its own: a file may hold a line of any length. */
static void walk(const struct telling *t, struct member *members, struct step *stack, uint32_t from)
{
    size_t n = 0;
    stack[n++] = (struct step){from, 0};
    members[from].mark = 1;
    while (n > 0) {
        struct step *top = &stack[n - 1];
        if (top->next == 2) {
            members[top->at].mark = 2;
            n--;
            continue;
        }
        uint32_t parent = members[top->at].parent[top->next++];
        if (parent == NOBODY || members[parent].mark == 2)
            continue;
        if (members[parent].mark == 0) {
            members[parent].mark = 1;
            stack[n++] = (struct step){parent, 0};
            continue;
        }
        size_t begin = n - 1;
        while (stack[begin].at != parent)
            begin--;
        uint32_t who = to_tell(t->family, stack, begin, n);
        if (who != NOBODY)
            tell(t, who, who, LM_FAMILY_OWN_PARENT);
    }
}

enum lm_err lm_family_check(struct lm_family *family, lm_family_fn *fn, void *ctx)
{
    struct telling t = {family, fn, ctx};
    enum lm_err err = link_all(family);
    struct step *stack = err == LM_OK ? malloc((family->n + 1u) * sizeof *stack) : NULL;
    if (stack == NULL)
        return LM_ENOMEM;
    for (uint32_t i = 0; i < family->n; i++) {
        const struct member *m = &family->members[i];
        for (unsigned k = 0; k < 2; k++)
            if (m->parent[k] != NOBODY)
                check_pair(&t, i, m->parent[k], k == 0);
        if (m->mark == 0)
            walk(&t, family->members, stack, i);
    }
    free(stack);
    return LM_OK;
}
