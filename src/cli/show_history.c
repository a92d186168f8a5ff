/* The history of one animal. */
#include "show_history.h"

#include <stdlib.h>
#include <string.h>

#include "lugmark/eventline.h"
#include "open_db.h"
#include "out_json.h"
#include "problem.h"
#include "record_diff.h"

struct history {
    struct lm_record last; /* the entry as the change before made it */
    bool any;
    json_t *list; /* with --json */
};

static enum lm_err add_json(struct history *h, const struct lm_event *ev, const char *why)
{
    char t[LM_TIME_TEXT_SIZE];
    char *text = lm_record_json(ev->record);
    json_t *entry = text != NULL ? json_loads(text, 0, NULL) : NULL;
    json_t *row = json_pack("{s:I, s:o, s:s, s:o}", "seq", (json_int_t) ev->seq, "t",
        lm_json_or_null(lm_time_format(ev->t_ms, t)), "why", why, "entry", entry);
    free(text);
    return row != NULL && json_array_append_new(h->list, row) == 0 ? LM_OK : LM_ENOMEM;
}

static enum lm_err tell(const struct lm_event *ev, const char *why, void *ctx)
{
    struct history *h = ctx;
    char t[LM_TIME_TEXT_SIZE];
    if (h->list != NULL)
        return add_json(h, ev, why);
    lm_time_format(ev->t_ms, t);
    printf("  %.10s %.5s UTC  %s\n", t, t[0] != '\0' ? t + 11 : "", why[0] != '\0' ? why : "-");
    lm_record_diff(stdout, h->any ? &h->last : NULL, ev->record);
    h->last = *ev->record;
    h->any = true;
    return LM_OK;
}

static int write_history(
    const struct lm_args *args, struct lm_store *store, const char *key, struct history *h)
{
    bool json = lm_arg_given(args, "json");
    if (json)
        h->list = json_array();
    else
        printf("%s\n", key);
    enum lm_err err = lm_store_history(store, key, tell, h);
    if (err != LM_OK) {
        json_decref(h->list);
        return lm_db_fail(store);
    }
    if (json)
        lm_json_line(stdout, json_pack("{s:s, s:o}", "animal", key, "history", h->list));
    return LM_EXIT_OK;
}

static enum lm_err nothing(const struct lm_event *ev, const char *why, void *ctx)
{
    (void) ev;
    (void) why;
    (void) ctx;
    return LM_OK;
}

int lm_show_history(const struct lm_args *args, struct lm_store *store, const char *word)
{
    struct history *h = calloc(1, sizeof *h);
    struct lm_record *rec = calloc(1, sizeof *rec);
    int exit = LM_EXIT_OK;
    const char *key = word;
    if (h == NULL || rec == NULL) {
        exit = lm_fail(LM_EXIT_FAILED, NULL, "out of memory");
    } else if (lm_store_history(store, word, nothing, NULL) == LM_ENOTFOUND) {
        exit = lm_db_animal(store, word, rec); /* no key of any entry: a number, perhaps */
        key = rec->key;
    }
    if (exit == LM_EXIT_OK && h != NULL)
        exit = write_history(args, store, key, h);
    free(rec);
    free(h);
    return exit;
}
