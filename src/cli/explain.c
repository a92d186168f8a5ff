/* lugmark explain: what most likely happened in a session, and mending the register by it. */
#include "command.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>

#include "explain_apply.h"
#include "explain_past.h"
#include "lugmark/report.h"
#include "open_db.h"
#include "out_json.h"
#include "problem.h"
#include "report/tongue.h"
#include "supply.h"

static int show(const struct lm_args *args, const struct lm_told *t)
{
    struct lm_explain_view view = {.skip = t->skip, .session = t->session_row};
    bool any = false;
    for (uint32_t i = 0; i < lm_explain_count(t->all); i++)
        any |= !t->skip[i];
    if (lm_arg_given(args, "json")) {
        lm_report_explain_json(stdout, t->session, t->all, &view);
        putc('\n', stdout);
    } else if (any) {
        lm_report_explain_text(stdout, t->session, t->all, &view);
    } else {
        puts(_("Nothing to explain."));
    }
    return any ? LM_EXIT_FLAGGED : LM_EXIT_OK;
}

/* "X3" or "3": its place in the list. */
static int place_of(
    const struct lm_args *args, const struct lm_told *t, const char *word, uint32_t *place)
{
    char *end = NULL;
    const char *digits = word[0] == 'X' || word[0] == 'x' ? word + 1 : word;
    unsigned long n = digits[0] >= '0' && digits[0] <= '9' ? strtoul(digits, &end, 10) : 0;
    if (end == NULL || *end != '\0')
        return lm_usage(args, "an explanation is named as in the list, X1, not \"%s\"", word);
    if (n < 1 || n > lm_explain_count(t->all))
        return lm_fail(
            LM_EXIT_INPUT, _("look with lugmark explain"), _("there is no explanation X%lu"), n);
    *place = (uint32_t) n - 1;
    if (t->skip[*place])
        return lm_fail(LM_EXIT_INPUT, _("look with lugmark explain"),
            _("X%lu is settled: it was rejected, or the register says so already"), n);
    return LM_EXIT_OK;
}

static int failed(const struct lm_told *t, enum lm_err err, uint32_t i)
{
    if (err == LM_EARG)
        return lm_fail(LM_EXIT_INPUT, _("look with lugmark show; mend it with lugmark retag"),
            _("X%u: the register is no longer as it was in that session"), i + 1);
    return err == LM_ENOMEM ? lm_fail(LM_EXIT_FAILED, NULL, "out of memory") : lm_db_fail(t->store);
}

/* With --json one object a line: an explanation, what became of it, and of whom it is. */
static void say_settled(const struct lm_told *t, uint32_t i, const char *what)
{
    char id[24], session[24];
    const struct lm_explanation *e = lm_explain_at(t->all, i);
    json_t *animals = json_array();
    for (uint32_t k = 0; k < e->n_animals; k++)
        json_array_append_new(
            animals, json_string(lm_roll_animal(lm_session_roll(t->session), e->animals[k]).key));
    snprintf(id, sizeof id, "X%u", i + 1);
    snprintf(session, sizeof session, "%lld", (long long) t->session_row);
    lm_json_line(stdout, json_pack("{s:s, s:s, s:s, s:o}", "session", session, "explanation", id,
                             "settled", what, "animals", animals));
}

static void say_accepted(const struct lm_args *args, const struct lm_told *t, uint32_t i)
{
    const struct lm_explanation *e = lm_explain_at(t->all, i);
    if (lm_arg_given(args, "json")) {
        say_settled(t, i, "accepted");
        return;
    }
    printf(_("X%u accepted:"), i + 1);
    for (uint32_t k = 0; k < e->n_animals; k++)
        printf(" %s", lm_roll_animal(lm_session_roll(t->session), e->animals[k]).key);
    putchar('\n');
}

static int accept(const struct lm_args *args, const struct lm_told *t, uint32_t i)
{
    const struct lm_explanation *e = lm_explain_at(t->all, i);
    if (!lm_explain_mends(e))
        return lm_fail(LM_EXIT_INPUT, _("there is nothing to accept; reject it if it is wrong"),
            _("X%u (%s) changes nothing in the register"), i + 1, lm_explain_kind_name(e->kind));
    enum lm_err err = lm_told_accept(t, i);
    if (err != LM_OK)
        return failed(t, err, i);
    say_accepted(args, t, i);
    return LM_EXIT_OK;
}

/* Each animal once: two explanations of one animal cannot both be so. */
static int accept_all(const struct lm_args *args, const struct lm_told *t, double above)
{
    uint32_t n = lm_roll_animals(lm_session_roll(t->session)), done = 0;
    bool *used = calloc((size_t) n + 1, sizeof *used);
    int exit = LM_EXIT_OK;
    if (used == NULL)
        return lm_fail(LM_EXIT_FAILED, NULL, "out of memory");
    for (uint32_t i = 0; i < lm_explain_count(t->all) && exit == LM_EXIT_OK; i++) {
        const struct lm_explanation *e = lm_explain_at(t->all, i);
        bool free_yet = lm_explain_mends(e) && !t->skip[i] && e->probability >= above;
        for (uint32_t k = 0; k < e->n_animals && free_yet; k++)
            free_yet = !used[e->animals[k]];
        if (!free_yet)
            continue;
        for (uint32_t k = 0; k < e->n_animals; k++)
            used[e->animals[k]] = true;
        exit = accept(args, t, i);
        done++;
    }
    free(used);
    if (exit == LM_EXIT_OK && done == 0 && !lm_arg_given(args, "json"))
        puts(_("no explanation is that sure and mends something"));
    return exit;
}

static int reject(const struct lm_args *args, const struct lm_told *t, uint32_t i)
{
    enum lm_err err = lm_told_reject(t, i);
    if (err != LM_OK)
        return lm_db_fail(t->store);
    if (lm_arg_given(args, "json"))
        say_settled(t, i, "rejected");
    else
        printf(_("X%u rejected: it will not be offered again\n"), i + 1);
    return LM_EXIT_OK;
}

/* Changes are made together or not at all. */
static int change(const struct lm_args *args, const struct lm_told *t, double above)
{
    const char *yes = lm_arg(args, "accept"), *no = lm_arg(args, "reject");
    uint32_t place = 0;
    int exit = LM_EXIT_OK;
    if (yes != NULL || no != NULL)
        exit = place_of(args, t, yes != NULL ? yes : no, &place);
    if (exit != LM_EXIT_OK)
        return exit;
    if (lm_store_begin(t->store) != LM_OK)
        return lm_db_fail(t->store);
    lm_store_one_change(t->store);
    exit = yes != NULL  ? accept(args, t, place)
           : no != NULL ? reject(args, t, place)
                        : accept_all(args, t, above);
    if (exit == LM_EXIT_OK && lm_store_commit(t->store) != LM_OK)
        exit = lm_db_fail(t->store);
    lm_store_rollback(t->store);
    return exit;
}

static int tell(const struct lm_args *args, struct lm_store *store,
    const struct lm_session *session, const struct lm_store_session *row, double above)
{
    struct lm_supply supply = {0};
    struct lm_past past = {0};
    struct lm_explain *all = NULL;
    bool changes = lm_arg_given(args, "accept") || lm_arg_given(args, "reject") ||
                   lm_arg_given(args, "accept-all");
    enum lm_err err = lm_supply_store(store, &supply);
    if (err == LM_OK)
        err = lm_past_store(store, row, session, &supply, &past);
    if (err == LM_OK)
        err = lm_supply_explain_past(
            &supply, &past, session, lm_supply_speech(args, !lm_arg_given(args, "json")), &all);
    lm_past_free(&past);
    lm_supply_free(&supply);
    if (err != LM_OK)
        return err == LM_ENOMEM ? lm_fail(LM_EXIT_FAILED, NULL, "out of memory")
                                : lm_db_fail(store);
    struct lm_told t = {.store = store, .session = session, .all = all, .session_row = row->id};
    t.skip = calloc((size_t) lm_explain_count(all) + 1, sizeof *t.skip);
    int exit = t.skip == NULL              ? lm_fail(LM_EXIT_FAILED, NULL, "out of memory")
               : lm_told_skip(&t) != LM_OK ? lm_db_fail(store)
               : changes                   ? change(args, &t, above)
                                           : show(args, &t);
    free(t.skip);
    lm_explain_free(all);
    return exit;
}

static int from_store(const struct lm_args *args, struct lm_store *store, int64_t id, double above)
{
    struct lm_store_session s = {0};
    struct lm_replay replay;
    enum lm_err err = lm_store_session(store, id, &s);
    if (err == LM_ENOTFOUND && id > 0)
        return lm_fail(LM_EXIT_INPUT, NULL, _("there is no session %lld"), (long long) id);
    if (err == LM_ENOTFOUND)
        return lm_fail(
            LM_EXIT_INPUT, _("open one with lugmark open"), _("there is no session yet"));
    if (err == LM_OK)
        err = lm_replay_session(store, &s, NULL, &replay);
    if (err != LM_OK)
        return err == LM_ENOMEM ? lm_fail(LM_EXIT_FAILED, NULL, "out of memory")
                                : lm_db_fail(store);
    if (!lm_session_is_closed(replay.session))
        fputs(_("lugmark: note: the session is still open, nobody is missing yet\n"), stderr);
    int exit = tell(args, store, replay.session, &s, above);
    lm_replay_free(&replay);
    return exit;
}

static int take(const struct lm_args *args, long long *id, double *above)
{
    char *end = NULL;
    unsigned n = (unsigned) lm_arg_given(args, "accept") + lm_arg_given(args, "reject") +
                 lm_arg_given(args, "accept-all");
    const char *text = lm_arg(args, "above");
    if (n > 1)
        return lm_usage(args, _("one of --accept, --accept-all and --reject at a time"));
    if (text != NULL && !lm_arg_given(args, "accept-all"))
        return lm_usage(args, "--above goes with --accept-all");
    if (text != NULL) {
        *above = strtod(text, &end);
        if (end == text || *end != '\0' || !(*above >= 0.5 && *above <= 1.0))
            return lm_usage(args, "--above wants a probability from 0.5 to 1, not \"%s\"", text);
    }
    if (args->n_rest > 0) {
        errno = 0;
        *id = strtoll(args->rest[0], &end, 10);
        if (errno != 0 || *end != '\0' || *id < 1)
            return lm_usage(args, _("SESSION is a number such as 3, not \"%s\""), args->rest[0]);
    }
    return LM_EXIT_OK;
}

static int run(const struct lm_args *args)
{
    struct lm_store *store = NULL;
    long long id = 0;
    double above = 0.9;
    bool reads = !lm_arg_given(args, "accept") && !lm_arg_given(args, "reject") &&
                 !lm_arg_given(args, "accept-all");
    int exit = take(args, &id, &above);
    if (exit == LM_EXIT_OK)
        exit = lm_db_open(args, reads ? LM_STORE_READ : LM_STORE_WRITE, &store);
    if (exit != LM_EXIT_OK)
        return exit;
    exit = from_store(args, store, id, above);
    lm_store_close(store);
    return exit;
}

static const struct lm_option options[] = {
    {"accept", 0, "X1", "change the register as this explanation says"},
    {"accept-all", 0, NULL, "the same for all that are sure enough"},
    {"above", 0, "P", "sure enough: a probability of at least P (default 0.9)"},
    {"reject", 0, "X1", "it is not so: do not offer it again"},
    {NULL, 0, NULL, NULL},
};

const struct lm_command lm_command_explain = {
    .name = "explain",
    .group = LM_GROUP_AFTER,
    .summary = N_("Say what most likely happened, how sure that is, and why"),
    .arguments = "[SESSION]",
    .details = "Without SESSION: the latest in the register. Accepting keeps the old state in the\n"
               "history. New devices, swaps and shifted runs can be accepted; the other kinds\n"
               "change nothing in the register.",
    .example = "lugmark explain\n"
               "lugmark explain 3 --accept X1",
    .options = options,
    .max_rest = 1,
    .run = run,
};
