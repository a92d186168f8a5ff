/* lugmark close: end the session and say what it found. */
#include "command.h"

#include "client.h"
#include "findings_out.h"
#include "out_json.h"
#include "problem.h"
#include "report/tongue.h"
#include "verdict.h"

/* The daemon's figures of the close, when its findings cannot be had. */
static int figures(const json_t *answer)
{
    const json_t *tally = json_object_get(answer, "tally");
    fputs(_("closed: "), stdout);
    lm_tally_line(stdout, tally);
    putchar('\n');
    bool flagged = lm_json_int(tally, "look", 0) > 0 || lm_json_int(tally, "hold", 0) > 0 ||
                   lm_json_int(tally, "not_seen", 0) > 0;
    return flagged ? LM_EXIT_FLAGGED : LM_EXIT_OK;
}

static int run(const struct lm_args *args)
{
    json_t *request = json_pack("{s:s}", "do", "close"), *answer = NULL, *after = NULL;
    if (lm_client_token(request) != LM_OK) {
        json_decref(request);
        return LM_EXIT_FAILED;
    }
    int exit = lm_client_ask(args, request, &answer);
    if (exit != LM_EXIT_OK)
        return exit;
    /* The close is done whatever comes now: a failure to fetch the findings is not one to close. */
    json_t *ask =
        json_pack("{s:s, s:b, s:s}", "do", "findings", "text", 1, "lang", lm_tongue_name());
    bool told = lm_client_ask(args, ask, &after) == LM_EXIT_OK &&
                json_is_object(json_object_get(after, "findings"));
    exit = told ? lm_findings_show(args, after) : figures(answer);
    json_decref(after);
    json_decref(answer);
    return exit;
}

const struct lm_command lm_command_close = {
    .name = "close",
    .group = LM_GROUP_RACE,
    .summary = N_("End the session and say what it found"),
    .arguments = "",
    .details = "Exit status 1 when anything is flagged.",
    .example = "lugmark close",
    .run = run,
};
