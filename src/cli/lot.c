/* A lot: a list of animals in a file, each looked up in the register. */
#include "lot.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>

#include "lugmark/decode.h"
#include "problem.h"
#include "table.h"
#include "report/tongue.h"

enum { ANIMAL, EID, VISUAL };

static const struct lm_table_plan plan = {
    .columns = {"animal", "eid", "visual", NULL},
    .enough = 1u << ANIMAL | 1u << EID | 1u << VISUAL,
    .plain = ANIMAL,
};

/* Animals that a line may mean. Worn devices count before removed ones. */
struct hits {
    uint32_t worn, gone; /* the first animal of each kind, or LM_NO_ANIMAL */
    bool many_worn, many_gone;
};

static void hit(struct hits *h, const struct lm_roll_device *d)
{
    uint32_t *first = d->gone ? &h->gone : &h->worn;
    bool *many = d->gone ? &h->many_gone : &h->many_worn;
    if (*first == LM_NO_ANIMAL)
        *first = d->animal;
    else if (*first != d->animal)
        *many = true;
}

static void by_code(const struct lm_roll *roll, struct lm_cell cell, struct hits *h)
{
    struct lm_decoded code;
    struct lm_roll_hits it;
    struct lm_roll_device d;
    if (lm_decode(cell.text, cell.len, &code, NULL) != LM_OK)
        return;
    bool more = lm_roll_code_first(roll, code.eid, &it, &d);
    for (; more; more = lm_roll_code_next(roll, &it, &d))
        hit(h, &d);
}

static void by_number(const struct lm_roll *roll, const char *word, struct hits *h)
{
    struct lm_roll_hits it;
    struct lm_roll_device d;
    bool more = lm_roll_visual_first(roll, word, &it, &d);
    for (; more; more = lm_roll_visual_next(roll, &it, &d))
        hit(h, &d);
}

static enum lm_err resolve(const struct lm_table *table, const struct lm_roll *roll, int column,
    uint32_t *animal, struct lm_problem *p)
{
    struct hits h = {.worn = LM_NO_ANIMAL, .gone = LM_NO_ANIMAL};
    struct lm_cell cell = lm_table_cell(table, column);
    char word[LM_VISUAL_MAX + 1];
    bool plain = table->separator == 0;
    bool whole = lm_text_copy(word, sizeof word, cell.text, cell.len);
    *animal = plain || column == ANIMAL ? lm_roll_by_key(roll, word) : LM_NO_ANIMAL;
    if (plain || column == EID)
        by_code(roll, cell, &h);
    if ((plain || column == VISUAL) && h.worn == LM_NO_ANIMAL && h.gone == LM_NO_ANIMAL && whole)
        by_number(roll, word, &h);
    uint32_t other = h.worn != LM_NO_ANIMAL ? h.worn : h.gone;
    bool many = h.worn != LM_NO_ANIMAL ? h.many_worn : h.many_gone;
    lm_table_place(table, column, p);
    if (*animal == LM_NO_ANIMAL && other == LM_NO_ANIMAL)
        return lm_problem_set(p, LM_EINPUT, "mend the line, or add the animal to the register",
            "no animal in the register is called or wears \"%s\"", word);
    if (many || (*animal != LM_NO_ANIMAL && other != LM_NO_ANIMAL && other != *animal))
        return lm_problem_set(p, LM_EINPUT, "name the animal by its key, in a column animal",
            "\"%s\" may be more than one animal", word);
    if (*animal == LM_NO_ANIMAL)
        *animal = other;
    return LM_OK;
}

static enum lm_err keep(struct lm_lot *lot, const char *key)
{
    if (lot->n == lot->room) {
        size_t room = lot->room > 0 ? lot->room * 2 : 256;
        const char **bigger = realloc(lot->keys, room * sizeof *bigger);
        if (bigger == NULL)
            return LM_ENOMEM;
        lot->keys = bigger;
        lot->room = room;
    }
    lot->keys[lot->n++] = key;
    return LM_OK;
}

/* The column of this row that names the animal: the first that is filled. */
static int filled_column(const struct lm_table *table)
{
    for (int column = ANIMAL; column <= VISUAL; column++)
        if (lm_table_cell(table, column).len > 0)
            return column;
    return -1;
}

static enum lm_err read_rows(struct lm_table *table, const struct lm_roll *roll, struct lm_lot *lot,
    struct lm_problems *problems)
{
    for (;;) {
        struct lm_problem p = {0};
        uint32_t animal = LM_NO_ANIMAL;
        enum lm_err err = lm_table_next(table, &p);
        int column = err == LM_OK ? filled_column(table) : -1;
        if (err == LM_OK && column < 0) {
            lm_lines_place(&table->lines, 0, &p);
            err = lm_problem_set(&p, LM_EINPUT, NULL, "the row names no animal");
        } else if (err == LM_OK) {
            err = resolve(table, roll, column, &animal, &p);
        }
        if (err == LM_OK)
            err = keep(lot, lm_roll_animal(roll, animal).key);
        if (err == LM_EINPUT)
            lm_problems_add(&p, problems);
        else if (err != LM_OK)
            return err;
    }
}

static void name_it(const char *path, struct lm_lot *lot)
{
    const char *base = strrchr(path, '/');
    base = base != NULL ? base + 1 : path;
    const char *dot = strrchr(base, '.');
    size_t len = dot != NULL && dot != base ? (size_t) (dot - base) : strlen(base);
    if (strcmp(path, "-") == 0 || !lm_text_copy(lot->name, sizeof lot->name, base, len))
        snprintf(lot->name, sizeof lot->name, "lot");
}

int lm_lot_read(const char *path, const struct lm_roll *roll, struct lm_lot *lot)
{
    struct lm_table *table = calloc(1, sizeof *table);
    struct lm_problems problems = {0};
    struct lm_problem p = {0};
    bool std = strcmp(path, "-") == 0;
    FILE *in = std ? stdin : fopen(path, "rbe");
    if (table == NULL || in == NULL) {
        free(table);
        return lm_fail(LM_EXIT_INPUT, NULL, _("%s cannot be opened: %s"), path, strerror(errno));
    }
    name_it(path, lot);
    enum lm_err err = lm_table_begin(table, in, std ? "standard input" : path, &plan, &p);
    if (err != LM_OK)
        lm_problems_add(&p, &problems);
    else
        err = read_rows(table, roll, lot, &problems);
    lm_table_end(table);
    free(table);
    if (!std)
        fclose(in);
    if (err == LM_EAGAIN && problems.count == 0 && lot->n == 0)
        return lm_fail(LM_EXIT_INPUT, NULL, _("%s names no animal"), path);
    if (err != LM_EAGAIN && problems.count == 0)
        return lm_fail(LM_EXIT_FAILED, NULL, "%s could not be read", path);
    return lm_problems_end(&problems);
}

void lm_lot_free(struct lm_lot *lot)
{
    free(lot->keys);
    *lot = (struct lm_lot){0};
}
