/* lugmark readers: how the readers are. */
#include "command.h"

#include <string.h>

#include "client.h"
#include "out_json.h"
#include "problem.h"
#include "try.h"
#include "report/tongue.h"

static void rejects(const json_t *reader)
{
    const char *why;
    json_t *n;
    char clean[64];
    json_object_foreach(json_object_get(reader, "rejects"), why, n)
    {
        if (json_is_integer(n) && json_integer_value(n) > 0 && strcmp(why, "no-reply") == 0)
            printf("    asked and not answered %lld times\n", (long long) json_integer_value(n));
        else if (json_is_integer(n) && json_integer_value(n) > 0)
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

/* The link that was configured, and the device that it leads to while that is open. */
static void port(const json_t *reader)
{
    char link[LM_PROBLEM_TEXT_MAX], device[LM_PROBLEM_TEXT_MAX];
    lm_json_text(reader, "port", link, sizeof link);
    lm_json_text(reader, "device", device, sizeof device);
    long long opened = (long long) lm_json_int(reader, "opened", 0);
    if (link[0] != '\0')
        printf(_("    port %s"), link);
    else if (device[0] != '\0')
        printf(_("    from %s"), device);
    else
        return;
    if (link[0] != '\0' && device[0] != '\0' && strcmp(link, device) != 0)
        printf(" -> %s", device);
    if (opened > 1)
        printf(_(", opened %lld times"), opened);
    putchar('\n');
}

static void show(const json_t *reader)
{
    char name[64], lane[64], driver[64], state[32], text[LM_PROBLEM_TEXT_MAX];
    lm_json_text(reader, "name", name, sizeof name);
    lm_json_text(reader, "lane", lane, sizeof lane);
    lm_json_text(reader, "driver", driver, sizeof driver);
    lm_json_text(reader, "state", state, sizeof state);
    long long n = (long long) lm_json_int(reader, "readings", 0);
    lm_tongue_pad(stdout, name, 13);
    printf(_("lane %-4s %-8s "), lane, driver);
    lm_tongue_pad(stdout, lm_tongue_word(state), 12);
    printf(lm_tongue_n("%lld reading", "%lld readings", (unsigned long) n), n);
    if (lm_json_text(reader, "since", text, sizeof text)[0] != '\0')
        printf(_(", %s since %s"), lm_tongue_word(state), text);
    if (lm_json_text(reader, "last", text, sizeof text)[0] != '\0')
        printf(_(", last reading %s"), text);
    putchar('\n');
    port(reader);
    rejects(reader);
    if (lm_json_text(reader, "problem", text, sizeof text)[0] != '\0')
        printf(_("    problem: %s\n"), text);
    if (lm_json_text(reader, "mend", text, sizeof text)[0] != '\0')
        printf(_("    to mend: %s\n"), text);
}

/* Options of a try mean nothing without it. */
static const char *lonely(const struct lm_args *args)
{
    static const char *const names[] = {"config", "line", "seconds"};
    for (size_t i = 0; i < sizeof names / sizeof *names; i++)
        if (lm_arg_given(args, names[i]))
            return names[i];
    return NULL;
}

static int run(const struct lm_args *args)
{
    json_t *answer = NULL;
    bool well = true;
    if (lm_arg_given(args, "try"))
        return lm_try_run(args);
    if (lonely(args) != NULL)
        return lm_usage(args, "--%s is only for --try", lonely(args));
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
        puts(_("the daemon's configuration names no reader"));
    json_decref(answer);
    return well ? LM_EXIT_OK : LM_EXIT_FLAGGED;
}

static const struct lm_option options[] = {
    {"try", 0, "FILE|PORT", "no daemon: run these bytes through every decoder"},
    {"config", 0, "FILE", "with --try: whose readers and frames (else the daemon's)"},
    {"line", 0, "LINE", "with --try PORT: line settings, such as \"9600 8N1\""},
    {"seconds", 0, "N", "with --try PORT: how long to listen (10)"},
    {NULL, 0, NULL, NULL},
};

const struct lm_command lm_command_readers = {
    .name = "readers",
    .group = LM_GROUP_RACE,
    .summary = N_("Show how the readers are and what they threw away"),
    .arguments = "",
    .details = "Exit status 1 when a reader is absent, opening or backing off.\n"
               "With --try nothing is asked of the daemon: the bytes of a file (- for standard\n"
               "input), or what a port says for some seconds, go through every decoder of the\n"
               "configuration and the built-in ones, and each says what it finds. Frames are\n"
               "shown field by field, to get a description right. Exit status 1 when no decoder\n"
               "finds a code.",
    .example = "lugmark readers\n"
               "lugmark readers --try capture.bin --config yard.conf",
    .options = options,
    .run = run,
};
