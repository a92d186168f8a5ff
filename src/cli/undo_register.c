/* Taking the last register change back. */
#include "undo_register.h"

#include <string.h>

#include "lugmark/store.h"
#include "open_db.h"
#include "out_json.h"
#include "problem.h"
#include "record_diff.h"
#include "report/tongue.h"

#define SHOWN_MAX 20u /* animals of one change told in full; an import may have thousands */

struct telling {
    json_t *keys; /* with --json */
    unsigned told;
};

static enum lm_err tell(const struct lm_record *before, const struct lm_record *now, void *ctx)
{
    struct telling *t = ctx;
    if (t->keys != NULL)
        return json_array_append_new(t->keys, json_string(now->key)) == 0 ? LM_OK : LM_ENOMEM;
    if (t->told++ >= SHOWN_MAX)
        return LM_OK;
    printf(before == NULL ? _("  %s, which it added\n") : "  %s\n", now->key);
    lm_record_diff(stdout, before, now);
    return LM_OK;
}

static void say(const struct lm_store_last *last, struct telling *t, bool dry)
{
    char time[LM_TIME_TEXT_SIZE];
    lm_time_format(last->t_ms, time);
    if (t->keys != NULL) {
        lm_json_line(stdout,
            json_pack("{s:I, s:o, s:s, s:O, s:b}", "undone", (json_int_t) last->seq, "t",
                lm_json_or_null(time), "why", last->why, "animals", t->keys, "dry_run", dry));
        return;
    }
    if (t->told > SHOWN_MAX)
        printf(_("  and %u animals more\n"), t->told - SHOWN_MAX);
    fputs(dry ? _("this would be taken back (--dry-run)\n")
              : _("taken back; each is again as before\n"),
        stdout);
}

static int undo(const struct lm_args *args, struct lm_store *store, struct telling *t)
{
    struct lm_store_last last = {0};
    char why[LM_PROBLEM_TEXT_MAX];
    bool dry = lm_arg_given(args, "dry-run");
    enum lm_err err = lm_store_last_change(store, &last, NULL, NULL);
    if (err == LM_ENOTFOUND)
        return lm_fail(LM_EXIT_INPUT, NULL, _("no change of the register is left to take back"));
    if (err != LM_OK)
        return lm_db_fail(store);
    if (t->keys == NULL)
        printf(lm_tongue_n("the last change, of %u animal: %s\n",
                   "the last change, of %u animals: %s\n", last.animals),
            last.animals, last.why[0] != '\0' ? last.why : _("no reason given"));
    if (lm_store_last_change(store, &last, tell, t) != LM_OK)
        return lm_db_fail(store);
    snprintf(why, sizeof why, "taken back: %.300s", last.why[0] != '\0' ? last.why : "a change");
    if (!dry && (lm_store_undo(store, lm_now_ms(), why, &last) != LM_OK ||
                    lm_store_commit(store) != LM_OK)) {
        fflush(stdout);
        return lm_db_fail(store);
    }
    say(&last, t, dry);
    return LM_EXIT_OK;
}

int lm_undo_register(const struct lm_args *args)
{
    struct lm_store *store = NULL;
    struct telling t = {0};
    int exit = lm_db_open(args, LM_STORE_WRITE, &store);
    if (exit != LM_EXIT_OK)
        return exit;
    if (lm_arg_given(args, "json"))
        t.keys = json_array();
    /* Shown and taken back in one transaction: it is the change that was shown. */
    if (lm_store_begin(store) != LM_OK)
        exit = lm_db_fail(store);
    else
        exit = undo(args, store, &t);
    lm_store_rollback(store);
    json_decref(t.keys);
    lm_store_close(store);
    return exit;
}
