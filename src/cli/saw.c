/* lugmark saw: a printed number, called by a person at the race. */
#include "command.h"

#include <string.h>

#include "client.h"
#include "out_json.h"
#include "problem.h"
#include "report/tongue.h"
#include "verdict.h"

static int fill(const struct lm_args *args, json_t *request)
{
    char number[LM_VISUAL_MAX + 1], lane[LM_NAME_MAX + 1];
    const char *given = lm_arg(args, "lane");
    if (!lm_text_copy(number, sizeof number, args->rest[0], strlen(args->rest[0])) ||
        number[0] == '\0')
        return lm_usage(args, _("NUMBER is empty, too long or not clean text"));
    json_object_set_new(request, "number", json_string(number));
    if (given != NULL && !lm_text_copy(lane, sizeof lane, given, strlen(given)))
        return lm_usage(args, "--lane is longer than 63 bytes or not clean text");
    if (given != NULL)
        json_object_set_new(request, "lane", json_string(lane));
    if (lm_arg_given(args, "on-last"))
        json_object_set_new(request, "on_last", json_true());
    return LM_EXIT_OK;
}

static int run(const struct lm_args *args)
{
    json_t *request = json_pack("{s:s}", "do", "saw"), *answer = NULL;
    int exit = fill(args, request);
    if (exit != LM_EXIT_OK || lm_client_token(request) != LM_OK) {
        json_decref(request);
        return exit != LM_EXIT_OK ? exit : LM_EXIT_FAILED;
    }
    exit = lm_client_ask(args, request, &answer);
    if (exit != LM_EXIT_OK)
        return exit;
    const json_t *verdict = json_object_get(answer, "verdict");
    bool flagged = json_is_object(verdict) && lm_verdict_attention(verdict) != LM_GO;
    if (lm_arg_given(args, "json")) {
        lm_json_line(stdout, json_incref(answer));
    } else if (json_is_object(verdict)) {
        lm_verdict_line(stdout, verdict);
        putchar('\n');
    } else { /* the first answer was lost, and with it what the number meant */
        puts(_("the number is in the journal; see lugmark findings"));
    }
    json_decref(answer);
    return flagged ? LM_EXIT_FLAGGED : LM_EXIT_OK;
}

static const struct lm_option options[] = {
    {"lane", 'L', "LANE", "the lane it was seen in"},
    {"on-last", 0, NULL, "it is on the animal that was read last, in that lane"},
    {NULL, 0, NULL, NULL},
};

const struct lm_command lm_command_saw = {
    .name = "saw",
    .group = LM_GROUP_RACE,
    .summary = N_("Call a printed number that you see"),
    .arguments = "NUMBER",
    .details = "Without --on-last it is an animal that gave no reading; with it, the number is\n"
               "compared with what the register says of the code read last.",
    .example = "lugmark saw 0417 --on-last",
    .options = options,
    .min_rest = 1,
    .max_rest = 1,
    .run = run,
};
