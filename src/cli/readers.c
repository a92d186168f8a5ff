/* lugmark readers: how the readers are. */
#include "command.h"

#include <string.h>

#include "client.h"
#include "out_json.h"
#include "problem.h"

static void rejects(const json_t *reader)
{
    const char *why;
    json_t *n;
    char clean[64];
    json_object_foreach(json_object_get(reader, "rejects"), why, n)
    {
        if (json_is_integer(n) && json_integer_value(n) > 0)
            printf("    thrown away %lld: %s\n", (long long) json_integer_value(n),
                lm_clean(clean, sizeof clean, why));
    }
}

static bool is_well(const json_t *reader)
{
    char state[32];
    lm_json_text(reader, "state", state, sizeof state);
    return strcmp(state, "live") == 0 || strcmp(state, "silent") == 0;
}

static void show(const json_t *reader)
{
    char name[64], lane[64], driver[64], state[32], text[LM_PROBLEM_TEXT_MAX];
    lm_json_text(reader, "name", name, sizeof name);
    lm_json_text(reader, "lane", lane, sizeof lane);
    lm_json_text(reader, "driver", driver, sizeof driver);
    lm_json_text(reader, "state", state, sizeof state);
    printf("%-12s lane %-4s %-8s %-11s %lld readings", name, lane, driver, state,
        (long long) lm_json_int(reader, "readings", 0));
    if (lm_json_text(reader, "since", text, sizeof text)[0] != '\0')
        printf(", since %s", text);
    putchar('\n');
    if (lm_json_text(reader, "port", text, sizeof text)[0] != '\0')
        printf("    port %s\n", text);
    rejects(reader);
    if (lm_json_text(reader, "problem", text, sizeof text)[0] != '\0')
        printf("    problem: %s\n", text);
}

static int run(const struct lm_args *args)
{
    json_t *answer = NULL;
    bool well = true;
    int exit = lm_client_ask(args, json_pack("{s:s}", "do", "readers"), &answer);
    if (exit != LM_EXIT_OK)
        return exit;
    const json_t *readers = json_object_get(answer, "readers");
    bool json = lm_arg_given(args, "json");
    for (size_t i = 0; i < json_array_size(readers); i++) {
        const json_t *reader = json_array_get(readers, i);
        well = is_well(reader) && well;
        if (!json)
            show(reader);
    }
    if (json)
        lm_json_line(stdout, json_incref(answer));
    else if (json_array_size(readers) == 0)
        puts("the daemon's configuration names no reader");
    json_decref(answer);
    return well ? LM_EXIT_OK : LM_EXIT_FLAGGED;
}

const struct lm_command lm_command_readers = {
    .name = "readers",
    .group = LM_GROUP_RACE,
    .summary = "Show how the readers are and what they threw away",
    .arguments = "",
    .details = "Exit status 1 when a reader is absent, opening or backing off.",
    .example = "lugmark readers",
    .run = run,
};
