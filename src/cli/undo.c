/* lugmark undo: take back the last sighting or head count, or the last register change. */
#include "command.h"

#include "client.h"
#include "out_json.h"
#include "problem.h"
#include "report/tongue.h"
#include "undo_register.h"

static int undo_call(const struct lm_args *args)
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
        printf(_("taken back: the sighting of %s\n"), number);
    else if (json_object_get(undone, "heads") == NULL)
        puts(_("taken back"));
    else
        printf(
            _("taken back: the head count of %lld\n"), (long long) lm_json_int(undone, "heads", 0));
    json_decref(answer);
    return LM_EXIT_OK;
}

static int run(const struct lm_args *args)
{
    if (lm_arg_given(args, "register"))
        return lm_undo_register(args);
    if (lm_arg_given(args, "dry-run"))
        return lm_usage(args, "--dry-run goes with --register");
    return undo_call(args);
}

static const struct lm_option options[] = {
    {"register", 0, NULL, "the last change of the register instead; again: the one before it"},
    {"dry-run", 'n', NULL, "with --register: only show what it is"},
    {NULL, 0, NULL, NULL},
};

const struct lm_command lm_command_undo = {
    .name = "undo",
    .group = LM_GROUP_RACE,
    .summary = N_("Take back the last sighting or head count, or register change"),
    .arguments = "",
    .details =
        "It stays in the journal, and so does the taking back. With --register what the last\n"
        "command did to the register is shown and taken back, all of it: an import, too.",
    .example = "lugmark undo\nlugmark undo --register --dry-run",
    .options = options,
    .run = run,
};
