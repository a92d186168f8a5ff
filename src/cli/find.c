/* lugmark find: animals by any piece of text. */
#include "command.h"

#include <stdlib.h>

#include "lugmark/eventline.h"
#include "open_db.h"
#include "problem.h"
#include "record_text.h"
#include "report/tongue.h"

struct hits {
    bool json, more;
    long limit, shown;
};

static enum lm_err show(const struct lm_record *rec, long line, void *ctx)
{
    struct hits *h = ctx;
    (void) line;
    if (h->shown >= h->limit) {
        h->more = true;
        return LM_OK;
    }
    h->shown++;
    if (!h->json) {
        lm_record_line(stdout, rec);
        return LM_OK;
    }
    char *text = lm_record_json(rec);
    if (text == NULL)
        return LM_ENOMEM;
    puts(text);
    free(text);
    return LM_OK;
}

static int run(const struct lm_args *args)
{
    struct hits h = {.json = lm_arg_given(args, "json"), .limit = 50};
    struct lm_store *store = NULL;
    char clean[LM_VISUAL_MAX + 1];
    const char *text = lm_clean(clean, sizeof clean, args->rest[0]);
    if (!lm_arg_number(args, "limit", 1, 1000000, &h.limit))
        return LM_EXIT_USAGE;
    if (text[0] == '\0')
        return lm_usage(args, _("an empty text is in every animal"));
    int exit = lm_db_open(args, LM_STORE_READ, &store);
    if (exit != LM_EXIT_OK)
        return exit;
    if (lm_store_find(store, text, (unsigned) h.limit + 1, show, &h) != LM_OK)
        exit = lm_db_fail(store);
    else if (h.shown == 0)
        exit = lm_fail(LM_EXIT_FLAGGED, NULL, _("nothing in the register holds \"%s\""), clean);
    else if (h.more)
        fprintf(stderr, _("lugmark: there are more than %ld; --limit shows more\n"), h.limit);
    lm_store_close(store);
    return exit;
}

static const struct lm_option options[] = {
    {"limit", 'n', "N", "show at most so many (default 50)"},
    {NULL, 0, NULL, NULL},
};

const struct lm_command lm_command_find = {
    .name = "find",
    .group = LM_GROUP_REGISTER,
    .summary = N_("Find animals by key, printed number, code, breed or mob"),
    .arguments = "TEXT",
    .details = "Exact matches come first. Nothing found is exit status 1.",
    .example = "lugmark find 0417",
    .options = options,
    .min_rest = 1,
    .max_rest = 1,
    .run = run,
};
