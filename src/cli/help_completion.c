/* Completion for bash, written from the tables that the parser reads.
 *
 * The words go into three shell functions, each a `case` over commands; how they are offered is
 * fixed text below. `@file` stands for the names of files. */
#include "command.h"

#include <string.h>

#include "help.h"

static const char head[] =
    "# bash completion for lugmark; written by: lugmark help --as=completion\n";

static const char tail[] =
    "_lugmark_command() { # the first word that is no option and no option's value\n"
    "    local i\n"
    "    for ((i = 1; i < COMP_CWORD; i++)); do\n"
    "        case ${COMP_WORDS[i]} in\n"
    "        --db | --socket | --lang)\n"
    "            [[ ${COMP_WORDS[i + 1]} == = ]] && ((i++))\n"
    "            ((i++))\n"
    "            ;;\n"
    "        -* | help) ;;\n"
    "        *)\n"
    "            printf '%s' \"${COMP_WORDS[i]}\"\n"
    "            return\n"
    "            ;;\n"
    "        esac\n"
    "    done\n"
    "}\n"
    "_lugmark_offer() { # the words $1 that begin with $2\n"
    "    local words=$1\n"
    "    COMPREPLY=()\n"
    "    if [[ $words == *@file* ]]; then\n"
    "        compopt -o filenames 2>/dev/null\n"
    "        mapfile -t COMPREPLY < <(compgen -f -- \"$2\")\n"
    "        words=${words//@file/}\n"
    "    fi\n"
    "    mapfile -t -O \"${#COMPREPLY[@]}\" COMPREPLY < <(compgen -W \"$words\" -- \"$2\")\n"
    "}\n"
    "_lugmark() {\n"
    "    local cur=${COMP_WORDS[COMP_CWORD]} prev=${COMP_WORDS[COMP_CWORD - 1]} command\n"
    "    if [[ $cur == = ]]; then # --option=VALUE comes as three words\n"
    "        cur=\n"
    "    elif [[ $prev == = ]]; then\n"
    "        prev=${COMP_WORDS[COMP_CWORD - 2]}\n"
    "    fi\n"
    "    command=$(_lugmark_command)\n"
    "    if _lugmark_takes_value \"$command\" \"$prev\"; then\n"
    "        _lugmark_offer \"$(_lugmark_values \"$command\" \"$prev\")\" \"$cur\"\n"
    "    elif [[ $cur == -* ]]; then\n"
    "        _lugmark_offer \"$(_lugmark_options \"$command\")\" \"$cur\"\n"
    "    else\n"
    "        _lugmark_offer \"$(_lugmark_arguments \"$command\")\" \"$cur\"\n"
    "    fi\n"
    "}\n"
    "complete -F _lugmark lugmark\n";

/* The choices that the text of an argument names: `csv|icar`, `[import FILE.csv | check]`. Words
 * in small letters are said as they stand, words in capitals are somebody's own. */
static void choices(FILE *out, const char *argument)
{
    static const char parts[] = " []|,.";
    const char *before = "";
    if (strstr(argument, "FILE") != NULL || strcmp(argument, "PATH") == 0 ||
        strcmp(argument, "LINK") == 0 || strstr(argument, "LOT") != NULL) {
        fputs("@file", out);
        before = " ";
    }
    for (const char *at = argument + strspn(argument, parts); *at != '\0';) {
        size_t len = strcspn(at, parts);
        size_t small = strspn(at, "abcdefghijklmnopqrstuvwxyz-");
        if (small == len) {
            fprintf(out, "%s%.*s", before, (int) len, at);
            before = " ";
        }
        at += len;
        at += strspn(at, parts);
    }
}

static void option_words(FILE *out, const struct lm_command *c)
{
    const struct lm_option *o;
    for (size_t i = 0; (o = lm_command_option(c, i)) != NULL; i++)
        fprintf(out, "%s--%s", i > 0 ? " " : "", o->name);
}

/* Arms of one command, or of the common options (`*`), for options that want a value. */
static void value_arm(FILE *out, const char *command, const struct lm_option *o)
{
    if (o->argument == NULL)
        return;
    fprintf(out, "    %s:--%s", command, o->name);
    if (o->letter != 0)
        fprintf(out, " | %s:-%c", command, o->letter);
    fputs(") echo '", out);
    choices(out, o->argument);
    fputs("' ;;\n", out);
}

static void values_function(FILE *out)
{
    const struct lm_command *const *all = lm_commands(NULL);
    fputs("_lugmark_values() { # what option $2 of command $1 takes\n    case $1:$2 in\n", out);
    for (size_t i = 0; all[i] != NULL; i++)
        for (const struct lm_option *o = all[i]->options; o != NULL && o->name != NULL; o++)
            value_arm(out, all[i]->name, o);
    for (const struct lm_option *o = lm_common_options(); o->name != NULL; o++)
        value_arm(out, "*", o);
    fputs("    *) return 1 ;;\n    esac\n}\n"
          "_lugmark_takes_value() { _lugmark_values \"$@\" >/dev/null; }\n",
        out);
}

void lm_help_completion(FILE *out)
{
    const struct lm_command *const *all = lm_commands(NULL);
    fputs(head, out);
    fputs("_lugmark_options() {\n    case $1 in\n", out);
    for (size_t i = 0; all[i] != NULL; i++) {
        fprintf(out, "    %s) echo '", all[i]->name);
        option_words(out, all[i]);
        fputs("' ;;\n", out);
    }
    fputs("    *) echo '--version", out);
    for (const struct lm_option *o = lm_common_options(); o->name != NULL; o++)
        fprintf(out, " --%s", o->name);
    fputs("' ;;\n    esac\n}\n", out);
    values_function(out);
    fputs("_lugmark_arguments() {\n    case $1 in\n    '') echo 'help", out);
    for (size_t i = 0; all[i] != NULL; i++)
        fprintf(out, " %s", all[i]->name);
    fputs("' ;;\n", out);
    for (size_t i = 0; all[i] != NULL; i++) {
        fprintf(out, "    %s) echo '", all[i]->name);
        choices(out, all[i]->arguments);
        fputs("' ;;\n", out);
    }
    fputs("    esac\n}\n", out);
    fputs(tail, out);
}
