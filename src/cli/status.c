/* lugmark status: what the daemon is doing. */
#include "command.h"

#include "client.h"
#include "out_json.h"
#include "verdict.h"

static int run(const struct lm_args *args)
{
    json_t *answer = NULL;
    int exit = lm_client_ask(args, json_pack("{s:s}", "do", "status"), &answer);
    if (exit != LM_EXIT_OK)
        return exit;
    const json_t *session = json_object_get(answer, "session");
    if (lm_arg_given(args, "json")) {
        lm_json_line(stdout, json_incref(answer));
    } else if (!json_is_object(session)) {
        puts("the daemon is running; no session is open");
    } else {
        lm_session_line(stdout, session);
        putchar('\n');
        lm_tally_line(stdout, json_object_get(answer, "tally"));
        putchar('\n');
    }
    json_decref(answer);
    return LM_EXIT_OK;
}

const struct lm_command lm_command_status = {
    .name = "status",
    .group = LM_GROUP_RACE,
    .summary = "Say which session is open and how far it is",
    .arguments = "",
    .example = "lugmark status",
    .run = run,
};
