/* --help, written from the tables. */
#include "command.h"

#include <string.h>

#include "help.h"
#include "lugmark/version.h"
#include "report/tongue.h"

static const char *const group_names[LM_GROUPS] = {
    [LM_GROUP_REGISTER] = N_("The register"),
    [LM_GROUP_RACE] = N_("At the race"),
    [LM_GROUP_AFTER] = N_("Afterwards"),
    [LM_GROUP_CODES] = N_("Codes"),
};

const char *lm_group_name(enum lm_group group)
{
    return group_names[group];
}

static void one_option(FILE *out, const struct lm_option *o)
{
    char left[64];
    snprintf(left, sizeof left, "--%s%s%s", o->name, o->argument != NULL ? " " : "",
        o->argument != NULL ? o->argument : "");
    if (o->letter != 0)
        fprintf(out, "  -%c, %-22s %s\n", o->letter, left, _(o->help));
    else
        fprintf(out, "      %-22s %s\n", left, _(o->help));
}

static void indented(FILE *out, const char *text)
{
    while (*text != '\0') {
        size_t len = strcspn(text, "\n");
        fprintf(out, "  %.*s\n", (int) len, text);
        text += len + (text[len] == '\n');
    }
}

void lm_help_command(FILE *out, const struct lm_command *command)
{
    const struct lm_option *o;
    fprintf(out, _("usage: lugmark %s [options]%s%s\n\n  %s.\n"), command->name,
        command->arguments[0] != '\0' ? " " : "", command->arguments, _(command->summary));
    if (command->details != NULL) {
        fputc('\n', out);
        indented(out, _(command->details));
    }
    fputs(_("\noptions:\n"), out);
    for (size_t i = 0; (o = lm_command_option(command, i)) != NULL; i++)
        one_option(out, o);
    fputs(_("\nexample:\n"), out);
    indented(out, command->example);
    fputs(_("\nexit status: 0 nothing flagged, 1 something flagged, 2 wrong usage, 3 bad input,\n"
            "4 the register or a device failed\n"),
        out);
}

void lm_help_program(FILE *out)
{
    const struct lm_command *const *all = lm_commands(NULL);
    fprintf(out, _("lugmark %s: keeps animal, number and electronic code tied together\n\n"),
        LM_VERSION);
    fputs(_("usage: lugmark COMMAND [options] [arguments]\n"
            "       lugmark COMMAND --help\n"
            "       lugmark --version\n"),
        out);
    for (int g = 0; g < LM_GROUPS; g++) {
        fprintf(out, "\n%s:\n", _(group_names[g]));
        for (size_t i = 0; all[i] != NULL; i++)
            if ((int) all[i]->group == g)
                fprintf(out, "  %-11s %s\n", all[i]->name, _(all[i]->summary));
    }
    fputs(_("\nevery command takes:\n"), out);
    for (const struct lm_option *o = lm_common_options(); o->name != NULL; o++)
        one_option(out, o);
    fputs(_("\nA first go:\n"
            "  lugmark init --holding \"Example holding\"\n"
            "  lugmark import register.csv\n"
            "  lugmark reconcile --register register.csv --readings stick.csv\n"),
        out);
}
