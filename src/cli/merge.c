/* lugmark merge: two entries that turn out to be one animal. */
#include "command.h"

#include <stdlib.h>
#include <string.h>

#include "kin.h"
#include "life.h"
#include "open_db.h"
#include "problem.h"
#include "report/tongue.h"

/* What only the other entry knows is taken over; what both say is left as the first has it. */
static void take_text(char *mine, const char *theirs, size_t size)
{
    if (mine[0] == '\0')
        snprintf(mine, size, "%s", theirs);
}

static void take_over(struct lm_record *a, const struct lm_record *b)
{
    take_text(a->species, b->species, sizeof a->species);
    take_text(a->breed, b->breed, sizeof a->breed);
    take_text(a->dam, b->dam, sizeof a->dam);
    take_text(a->sire, b->sire, sizeof a->sire);
    take_text(a->mob, b->mob, sizeof a->mob);
    if (a->born.year == 0)
        a->born = b->born;
    if (a->sex == LM_SEX_UNKNOWN) {
        a->sex = b->sex;
        a->castrated = b->castrated;
    }
}

static int unite(struct lm_record *a, struct lm_record *b)
{
    if (strcmp(a->key, b->key) == 0)
        return lm_fail(LM_EXIT_INPUT, "name two entries", "%s is one animal already", a->key);
    if (a->n_devices + b->n_devices > (int) LM_DEVICES_MAX)
        return lm_fail(
            LM_EXIT_INPUT, NULL, "together they have more than %u devices", LM_DEVICES_MAX);
    if (a->sex != LM_SEX_UNKNOWN && b->sex != LM_SEX_UNKNOWN && a->sex != b->sex)
        return lm_fail(LM_EXIT_INPUT, "correct the wrong one first with lugmark edit",
            "%s is %s and %s is %s", a->key, lm_sex_name((enum lm_sex) a->sex), b->key,
            lm_sex_name((enum lm_sex) b->sex));
    take_over(a, b);
    for (unsigned i = 0; i < b->n_devices; i++) {
        struct lm_device *d = &a->devices[a->n_devices + i];
        *d = b->devices[i];
        if (d->replaces != 0)
            d->replaces = (uint8_t) (d->replaces + a->n_devices);
    }
    a->n_devices = (uint8_t) (a->n_devices + b->n_devices);
    b->n_devices = 0;
    b->struck = true;
    snprintf(b->merged_into, sizeof b->merged_into, "%s", a->key);
    return LM_EXIT_OK;
}

/* Kids of the entry that goes are kids of the one that stays. */
struct kids {
    const char *from, *to;
    struct lm_record *list;
    size_t n, room;
};

static enum lm_err take_kid(const struct lm_record *rec, long line, void *ctx)
{
    struct kids *k = ctx;
    (void) line;
    bool dam = strcmp(rec->dam, k->from) == 0, sire = strcmp(rec->sire, k->from) == 0;
    if ((!dam && !sire) || strcmp(rec->key, k->from) == 0 || strcmp(rec->key, k->to) == 0)
        return LM_OK;
    if (k->n == k->room) {
        size_t room = k->room != 0 ? k->room * 2 : 8;
        struct lm_record *grown = realloc(k->list, room * sizeof *grown);
        if (grown == NULL)
            return LM_ENOMEM;
        k->list = grown;
        k->room = room;
    }
    struct lm_record *kid = &k->list[k->n++];
    *kid = *rec;
    if (dam)
        snprintf(kid->dam, sizeof kid->dam, "%s", k->to);
    if (sire)
        snprintf(kid->sire, sizeof kid->sire, "%s", k->to);
    return LM_OK;
}

static int rename_kids(struct lm_life *life, const char *from, const char *to)
{
    struct kids k = {.from = from, .to = to};
    enum lm_err err = lm_store_each(life->store, take_kid, &k);
    for (size_t i = 0; i < k.n && err == LM_OK; i++)
        err = lm_store_put(life->store, &k.list[i], lm_now_ms(), life->why, NULL);
    free(k.list);
    if (err == LM_ENOMEM)
        return lm_fail(LM_EXIT_FAILED, NULL, "out of memory");
    return err == LM_OK ? LM_EXIT_OK : lm_db_fail(life->store);
}

static int merge(struct lm_life *life, struct lm_record *b)
{
    struct lm_record *a = life->rec;
    int exit = lm_life_animal(life, life->args->rest[0]);
    if (exit == LM_EXIT_OK)
        exit = lm_db_animal(life->store, life->args->rest[1], b);
    if (exit == LM_EXIT_OK)
        exit = unite(a, b);
    if (exit != LM_EXIT_OK)
        return exit;
    const struct lm_record *both[] = {b, a};
    if (lm_store_change(life->store, both, 2, lm_now_ms(), life->why, NULL) != LM_OK)
        return lm_db_fail(life->store);
    exit = rename_kids(life, b->key, a->key);
    if (exit == LM_EXIT_OK)
        exit = lm_kin_check(life->store, a->key);
    if (exit == LM_EXIT_OK)
        exit = lm_life_keep(life);
    if (exit != LM_EXIT_OK)
        return exit;
    if (!lm_arg_given(life->args, "json"))
        printf(_("%s is merged into %s:\n"), b->key, a->key);
    return lm_life_show(life->args, a);
}

static int run(const struct lm_args *args)
{
    struct lm_life life;
    char more[200], one[90], two[90];
    snprintf(more, sizeof more, "(%s and %s are one animal)",
        lm_clean(one, sizeof one, args->rest[0]), lm_clean(two, sizeof two, args->rest[1]));
    int exit = lm_life_begin(&life, args, "merged", more);
    struct lm_record *b = calloc(1, sizeof *b);
    if (b == NULL)
        exit = lm_fail(LM_EXIT_FAILED, NULL, "out of memory");
    if (exit == LM_EXIT_OK && b != NULL)
        exit = merge(&life, b);
    free(b);
    return lm_life_end(&life, exit);
}

static const struct lm_option options[] = {
    LM_LIFE_OPTIONS,
    {NULL, 0, NULL, NULL},
};

const struct lm_command lm_command_merge = {
    .name = "merge",
    .group = LM_GROUP_REGISTER,
    .summary = N_("Make one animal of two entries"),
    .arguments = "A B",
    .details =
        "A gets the devices of B, its kids, and what only B's entry knew. B's entry counts no\n"
        "more; its history is kept (lugmark show B --history), and says that it was merged\n"
        "into A. lugmark undo --register takes it back.",
    .example = "lugmark merge A17 A93 --why \"tag found on the same goat\"",
    .options = options,
    .min_rest = 2,
    .max_rest = 2,
    .run = run,
};
