/* A supply list as evidence for explanations. */
#include "supply.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>

#include "explain_past.h"
#include "problem.h"
#include "report/tongue.h"

static enum lm_err add(const struct lm_stock_item *item, long line, void *ctx)
{
    struct lm_supply *s = ctx;
    (void) line;
    if (s->n == s->room) {
        size_t room = s->room > 0 ? s->room * 2 : 256;
        struct lm_stock_item *bigger = realloc(s->items, room * sizeof *bigger);
        if (bigger == NULL)
            return LM_ENOMEM;
        s->items = bigger;
        s->room = room;
    }
    s->items[s->n++] = *item;
    return LM_OK;
}

/* A file being read: the reader hands items and problems to one context. */
struct reading {
    struct lm_supply *supply;
    struct lm_problems problems;
};

static enum lm_err add_read(const struct lm_stock_item *item, long line, void *ctx)
{
    struct reading *r = ctx;
    return add(item, line, r->supply);
}

static void problem(const struct lm_problem *p, void *ctx)
{
    struct reading *r = ctx;
    lm_problems_add(p, &r->problems);
}

int lm_supply_file(const char *path, struct lm_supply *supply)
{
    struct reading r = {.supply = supply};
    struct lm_stock_hooks hooks = {
        .item = add_read, .problem = problem, .ctx = &r, .lenient = true};
    bool std = strcmp(path, "-") == 0;
    FILE *in = std ? stdin : fopen(path, "rbe");
    if (in == NULL)
        return lm_fail(LM_EXIT_INPUT, NULL, "%s cannot be opened: %s", path, strerror(errno));
    enum lm_err err = lm_stock_read(in, std ? "standard input" : path, &hooks);
    if (!std)
        fclose(in);
    if (r.problems.count > 0)
        return lm_problems_end(&r.problems);
    if (err != LM_OK)
        return lm_fail(lm_exit_of(err), NULL, "%s could not be read: %s", path, lm_err_str(err));
    return LM_EXIT_OK;
}

enum lm_err lm_supply_store(struct lm_store *store, struct lm_supply *supply)
{
    return lm_store_stock_each(store, NULL, add, supply);
}

enum lm_err lm_supply_explain(
    const struct lm_supply *supply, const struct lm_session *session, struct lm_explain **out)
{
    static const struct lm_past nothing = {0};
    return lm_supply_explain_past(supply, &nothing, session, NULL, out);
}

enum lm_err lm_supply_explain_past(const struct lm_supply *supply, const struct lm_past *past,
    const struct lm_session *session, const struct lm_speech *speech, struct lm_explain **out)
{
    struct lm_explain_stock *list = calloc(supply->n + 1, sizeof *list);
    struct lm_explain_options options = {.stock = list,
        .n_stock = (uint32_t) supply->n,
        .history = past->history,
        .lives = past->lives.groups,
        .n_lives = past->lives.n_groups,
        .beside = past->beside,
        .n_beside = past->n_beside,
        .interval = past->interval,
        .speech = speech};
    if (list == NULL || supply->n >= UINT32_MAX) {
        free(list);
        return LM_ENOMEM;
    }
    for (size_t i = 0; i < supply->n; i++) {
        const struct lm_stock_item *item = &supply->items[i];
        list[i] = (struct lm_explain_stock){.strip = item->strip,
            .position = item->position,
            .eid = item->eid,
            .visual = item->visual};
    }
    enum lm_err err = lm_explain(session, &options, out);
    free(list);
    return err;
}

const struct lm_speech *lm_supply_speech(const struct lm_args *args, bool for_people)
{
    return for_people || lm_arg_given(args, "lang") ? &lm_tongue_speech : NULL;
}

void lm_supply_free(struct lm_supply *supply)
{
    free(supply->items);
    *supply = (struct lm_supply){0};
}
