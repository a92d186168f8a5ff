/* lugmark findings: what a session found. */
#include "command.h"

#include <errno.h>
#include <stdlib.h>

#include "client.h"
#include "findings_out.h"
#include "listing.h"
#include "problem.h"
#include "report/tongue.h"

static int from_daemon(const struct lm_args *args)
{
    json_t *answer = NULL, *ask = json_pack("{s:s, s:b, s:s}", "do", "findings", "text", 1, "lang",
                               lm_tongue_name());
    int exit = lm_client_ask(args, ask, &answer);
    if (exit == LM_EXIT_OK)
        exit = lm_findings_show(args, answer);
    json_decref(answer);
    return exit;
}

/* Whether a daemon is there and has a session open. */
static bool session_is_open(const char *path)
{
    struct lm_client *client = NULL;
    struct lm_problem p = {0};
    if (lm_client_connect(path, &client, &p) != LM_OK)
        return false;
    bool open = json_is_object(json_object_get(lm_client_greeting(client), "session"));
    lm_client_close(client);
    return open;
}

static int run(const struct lm_args *args)
{
    char path[256];
    char *end = NULL;
    if (lm_arg_given(args, "list")) {
        return args->n_rest == 0 ? lm_list_sessions(args)
                                 : lm_usage(args, "--list is of all sessions: leave SESSION out");
    }
    if (args->n_rest > 0) {
        errno = 0;
        long long id = strtoll(args->rest[0], &end, 10);
        if (errno != 0 || *end != '\0' || id < 1)
            return lm_usage(args, "SESSION is a number such as 3, not \"%s\"", args->rest[0]);
        return lm_findings_stored(args, id);
    }
    int exit = lm_client_path(args, path, sizeof path);
    if (exit != LM_EXIT_OK)
        return exit;
    return session_is_open(path) ? from_daemon(args) : lm_findings_stored(args, 0);
}

static const struct lm_option options[] = {
    {"list", 0, NULL, "only list the sessions that there were"},
    {NULL, 0, NULL, NULL},
};

const struct lm_command lm_command_findings = {
    .name = "findings",
    .group = LM_GROUP_AFTER,
    .summary = N_("Say what a session found"),
    .arguments = "[SESSION]",
    .details = "Without SESSION: the one that is open, asked of the daemon, else the latest in\n"
               "the register. Missing animals are named once a session is closed.",
    .example = "lugmark findings --json",
    .options = options,
    .max_rest = 1,
    .run = run,
};
