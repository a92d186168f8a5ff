/* --help, written from the tables. */
#include "command.h"

#include <string.h>

#include "help.h"
#include "lugmark/version.h"

static const char *const group_names[LM_GROUPS] = {
    [LM_GROUP_REGISTER] = "The register",
    [LM_GROUP_RACE] = "At the race",
    [LM_GROUP_AFTER] = "Afterwards",
    [LM_GROUP_CODES] = "Codes",
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
        fprintf(out, "  -%c, %-22s %s\n", o->letter, left, o->help);
    else
        fprintf(out, "      %-22s %s\n", left, o->help);
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
    fprintf(out, "usage: lugmark %s [options]%s%s\n\n  %s.\n", command->name,
        command->arguments[0] != '\0' ? " " : "", command->arguments, command->summary);
    if (command->details != NULL) {
        fputc('\n', out);
        indented(out, command->details);
    }
    fputs("\noptions:\n", out);
    for (size_t i = 0; (o = lm_command_option(command, i)) != NULL; i++)
        one_option(out, o);
    fputs("\nexample:\n", out);
    indented(out, command->example);
    fputs("\nexit status: 0 nothing flagged, 1 something flagged, 2 wrong usage, 3 bad input,\n"
          "4 the register or a device failed\n",
        out);
}

void lm_help_program(FILE *out)
{
    const struct lm_command *const *all = lm_commands(NULL);
    fputs("lugmark " LM_VERSION ": keeps animal, number and electronic code tied together\n\n"
          "usage: lugmark COMMAND [options] [arguments]\n"
          "       lugmark COMMAND --help\n"
          "       lugmark --version\n",
        out);
    for (int g = 0; g < LM_GROUPS; g++) {
        fprintf(out, "\n%s:\n", group_names[g]);
        for (size_t i = 0; all[i] != NULL; i++)
            if ((int) all[i]->group == g)
                fprintf(out, "  %-11s %s\n", all[i]->name, all[i]->summary);
    }
    fputs("\nevery command takes:\n", out);
    for (const struct lm_option *o = lm_common_options(); o->name != NULL; o++)
        one_option(out, o);
    fputs("\nA first go:\n"
          "  lugmark init --holding \"Example holding\"\n"
          "  lugmark import register.csv\n"
          "  lugmark reconcile --register register.csv --readings stick.csv\n",
        out);
}
