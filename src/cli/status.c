/* lugmark status: what the daemon is doing. */
#include "command.h"

#include <string.h>

#include "client.h"
#include "out_json.h"
#include "problem.h"
#include "report/tongue.h"
#include "verdict.h"

/* With one lane the tally says it all. */
static void lanes(const json_t *list)
{
    char name[LM_NAME_MAX + 1];
    for (size_t i = 0; json_array_size(list) > 1 && i < json_array_size(list); i++) {
        const json_t *lane = json_array_get(list, i);
        printf(_("  lane %s: readings %lld, passes %lld\n"),
            lm_json_text(lane, "lane", name, sizeof name),
            (long long) lm_json_int(lane, "readings", 0),
            (long long) lm_json_int(lane, "passes", 0));
    }
}

static int run(const struct lm_args *args)
{
    json_t *answer = NULL;
    int exit = lm_client_ask(args, json_pack("{s:s}", "do", "status"), &answer);
    if (exit != LM_EXIT_OK)
        return exit;
    const json_t *session = json_object_get(answer, "session");
    char journal[32], page[128], problem[LM_PROBLEM_TEXT_MAX];
    if (strcmp(lm_json_text(answer, "journal", journal, sizeof journal), "failed") == 0)
        exit = lm_fail(LM_EXIT_FAILED,
            "mend that and leave lugmarkd running: what waits is kept as soon as it can be",
            "THE JOURNAL CANNOT BE WRITTEN: %s; %lld readings wait in memory",
            lm_json_text(answer, "problem", problem, sizeof problem),
            (long long) lm_json_int(answer, "waiting", 0));
    if (lm_arg_given(args, "json")) {
        lm_json_line(stdout, json_incref(answer));
    } else if (!json_is_object(session)) {
        puts(_("the daemon is running; no session is open"));
    } else {
        lm_session_line(stdout, session);
        putchar('\n');
        lm_tally_line(stdout, json_object_get(answer, "tally"));
        putchar('\n');
        lanes(json_object_get(answer, "by_lane"));
    }
    if (!lm_arg_given(args, "json") && lm_json_text(answer, "page", page, sizeof page)[0] != '\0')
        printf(_("the page: %s\n"), page);
    json_decref(answer);
    return exit;
}

const struct lm_command lm_command_status = {
    .name = "status",
    .group = LM_GROUP_RACE,
    .summary = N_("Say which session is open and how far it is"),
    .arguments = "",
    .example = "lugmark status",
    .run = run,
};
