/* lugmark undo: take back the last sighting or head count. */
#include "command.h"

#include "client.h"
#include "out_json.h"
#include "problem.h"

static int run(const struct lm_args *args)
{
    json_t *request = json_pack("{s:s}", "do", "undo"), *answer = NULL;
    char number[LM_VISUAL_MAX + 1];
    if (lm_client_token(request) != LM_OK) {
        json_decref(request);
        return LM_EXIT_FAILED;
    }
    int exit = lm_client_ask(args, request, &answer);
    if (exit != LM_EXIT_OK)
        return exit;
    const json_t *undone = json_object_get(answer, "undone");
    lm_json_text(undone, "sighting", number, sizeof number);
    if (lm_arg_given(args, "json"))
        lm_json_line(stdout, json_incref(answer));
    else if (number[0] != '\0')
        printf("taken back: the sighting of %s\n", number);
    else if (json_object_get(undone, "heads") == NULL)
        puts("taken back");
    else
        printf("taken back: the head count of %lld\n", (long long) lm_json_int(undone, "heads", 0));
    json_decref(answer);
    return LM_EXIT_OK;
}

const struct lm_command lm_command_undo = {
    .name = "undo",
    .group = LM_GROUP_RACE,
    .summary = "Take back the last sighting or head count",
    .arguments = "",
    .details = "It stays in the journal, and so does the taking back.",
    .example = "lugmark undo",
    .run = run,
};
