/* lugmark head: how many heads a person counted through the gate. */
#include "command.h"

#include <errno.h>
#include <stdlib.h>

#include "client.h"
#include "out_json.h"
#include "problem.h"
#include "report/tongue.h"

#define HEADS_MAX 10000000L /* no gate sees more; a bigger number is a slip of the finger */

static int run(const struct lm_args *args)
{
    const char *text = args->rest[0], *lane = lm_arg(args, "lane");
    char *end = NULL;
    json_t *answer = NULL;
    errno = 0;
    long n = strtol(text, &end, 10);
    if (text[0] < '0' || text[0] > '9' || *end != '\0' || errno != 0 || n > HEADS_MAX)
        return lm_usage(args, _("N is a whole number from 0 to %ld, not \"%s\""), HEADS_MAX, text);
    json_t *request = json_pack("{s:s, s:I}", "do", "head", "n", (json_int_t) n);
    if (lane != NULL && json_object_set_new(request, "lane", json_string(lane)) != 0) {
        json_decref(request);
        return lm_usage(args, "--lane is not clean text");
    }
    if (lm_client_token(request) != LM_OK) {
        json_decref(request);
        return LM_EXIT_FAILED;
    }
    int exit = lm_client_ask(args, request, &answer);
    if (exit != LM_EXIT_OK)
        return exit;
    if (lm_arg_given(args, "json"))
        lm_json_line(stdout, json_incref(answer));
    else
        printf(lm_tongue_n("%ld head counted\n", "%ld heads counted\n", (unsigned long) n), n);
    json_decref(answer);
    return LM_EXIT_OK;
}

static const struct lm_option options[] = {
    {"lane", 'L', "LANE", "the lane whose gate it was"},
    {NULL, 0, NULL, NULL},
};

const struct lm_command lm_command_head = {
    .name = "head",
    .group = LM_GROUP_RACE,
    .summary = N_("Say how many heads were counted through the gate"),
    .arguments = "N",
    .details = "The last count of a lane stands; the counts of several lanes add up.",
    .example = "lugmark head 213",
    .options = options,
    .min_rest = 1,
    .max_rest = 1,
    .run = run,
};
