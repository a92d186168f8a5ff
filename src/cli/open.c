/* lugmark open: begin a session at the race. */
#include "command.h"

#include <string.h>

#include "client.h"
#include "lot.h"
#include "open_db.h"
#include "out_json.h"
#include "problem.h"
#include "report/tongue.h"
#include "verdict.h"

static enum lm_err into_roll(const struct lm_record *rec, long line, void *ctx)
{
    (void) line;
    return lm_roll_put(ctx, rec, NULL);
}

static int read_lot(
    struct lm_store *store, struct lm_roll *roll, const char *path, struct lm_lot *lot)
{
    if (roll == NULL)
        return lm_fail(LM_EXIT_FAILED, NULL, "out of memory");
    if (lm_store_each(store, into_roll, roll) != LM_OK)
        return lm_db_fail(store);
    return lm_lot_read(path, roll, lot);
}

/* Name and animals of a lot, looked up in the register, into the request. */
static int add_lot(const struct lm_args *args, const char *path, json_t *request)
{
    struct lm_store *store = NULL;
    struct lm_lot lot = {0};
    int exit = lm_db_open(args, LM_STORE_READ, &store);
    if (exit != LM_EXIT_OK)
        return exit;
    struct lm_roll *roll = lm_roll_new();
    exit = read_lot(store, roll, path, &lot);
    if (exit == LM_EXIT_OK) {
        json_t *animals = json_array();
        for (size_t i = 0; i < lot.n; i++)
            json_array_append_new(animals, json_string(lot.keys[i]));
        json_object_set_new(request, "lot", json_string(lot.name));
        json_object_set_new(request, "animals", animals);
    }
    lm_lot_free(&lot);
    lm_roll_free(roll);
    lm_store_close(store);
    return exit;
}

static int add_name(const struct lm_args *args, const char *option, json_t *request)
{
    char name[LM_NAME_MAX + 1];
    const char *value = lm_arg(args, option);
    if (value == NULL)
        return LM_EXIT_OK;
    if (!lm_text_copy(name, sizeof name, value, strlen(value)) || name[0] == '\0')
        return lm_usage(args, "--%s is empty, longer than 63 bytes or not clean text", option);
    json_object_set_new(request, option, json_string(name));
    return LM_EXIT_OK;
}

static int fill(const struct lm_args *args, json_t *request)
{
    enum lm_session_kind kind;
    const char *lot = lm_arg(args, "lot");
    if (lm_session_kind_parse(args->rest[0], &kind) != LM_OK)
        return lm_usage(args, _("KIND is walk, count or sale, not \"%s\""), args->rest[0]);
    if (lot != NULL && lm_arg_given(args, "mob"))
        return lm_usage(args, _("either --mob or --lot says who is expected, not both"));
    json_object_set_new(request, "kind", json_string(lm_session_kind_name(kind)));
    int exit = add_name(args, "mob", request);
    if (exit == LM_EXIT_OK)
        exit = add_name(args, "count", request);
    if (exit == LM_EXIT_OK)
        exit = add_name(args, "who", request);
    if (exit == LM_EXIT_OK && lot != NULL)
        exit = add_lot(args, lot, request);
    return exit;
}

/* Say what is open. An answer that was lost and given again names no session: it is asked for. */
static int say(const struct lm_args *args, const json_t *answer)
{
    const json_t *session = json_object_get(answer, "session");
    int64_t expected = lm_json_int(answer, "expected", 0);
    json_t *status = NULL;
    if (!json_is_object(session)) {
        int exit = lm_client_ask(args, json_pack("{s:s}", "do", "status"), &status);
        if (exit != LM_EXIT_OK)
            return exit;
        session = json_object_get(status, "session");
        expected = lm_json_int(json_object_get(status, "tally"), "expected", 0);
    }
    bool open = json_is_object(session);
    if (open) {
        fputs(_("open: "), stdout);
        lm_session_line(stdout, session);
        printf(lm_tongue_n("; %lld animal is expected\n", "; %lld animals are expected\n",
                   (unsigned long) expected),
            (long long) expected);
    }
    json_decref(status);
    return open ? LM_EXIT_OK
                : lm_fail(LM_EXIT_FAILED, "look with lugmark findings",
                      "the session was opened and is closed again");
}

static int run(const struct lm_args *args)
{
    json_t *request = json_pack("{s:s}", "do", "open"), *answer = NULL;
    int exit = fill(args, request);
    if (exit != LM_EXIT_OK || lm_client_token(request) != LM_OK) {
        json_decref(request);
        return exit != LM_EXIT_OK ? exit : LM_EXIT_FAILED;
    }
    exit = lm_client_ask(args, request, &answer);
    if (exit != LM_EXIT_OK)
        return exit;
    if (lm_arg_given(args, "json"))
        lm_json_line(stdout, json_incref(answer));
    else
        exit = say(args, answer);
    json_decref(answer);
    return exit;
}

static const struct lm_option options[] = {
    {"mob", 'm', "MOB", "only the animals of this mob are expected"},
    {"lot", 'l', "FILE", "only the animals listed in this file are expected"},
    {"count", 'c', "NAME", "name of the count that this session is part of"},
    {"who", 'w', "NAME", "who counts"},
    {NULL, 0, NULL, NULL},
};

const struct lm_command lm_command_open = {
    .name = "open",
    .group = LM_GROUP_RACE,
    .summary = N_("Begin a session: walk, count or sale"),
    .arguments = "KIND",
    .details = "Without --mob and --lot every animal on the farm is expected. A lot is a file\n"
               "with one key, printed number or code a line, or a CSV with a column animal, eid\n"
               "or visual; all of it must be in the register. - is standard input.",
    .example = "lugmark open walk --mob does",
    .options = options,
    .min_rest = 1,
    .max_rest = 1,
    .run = run,
};
