/* The commands as a part of the manual page, written from the tables that the parser reads.
 *
 * What comes out is the middle of lugmark(1): one section a group, one subsection a command. The
 * rest of the page is src/cli/man/lugmark.1, which is put around it when the manual is built. */
#include "command.h"

#include <ctype.h>
#include <string.h>

#include "help.h"

/** Where a line of the source is broken; manuals are written in lines of 80 bytes. */
#define FILL_WIDTH 72u

/* One piece of text of the tables. A dash is a minus in a manual, or it cannot be copied into a
 * shell; a dot or a quote at the start of a line would be a request. */
static void text(FILE *out, const char *from, size_t len, bool starts_line)
{
    if (starts_line && len > 0 && (from[0] == '.' || from[0] == '\''))
        fputs("\\&", out);
    for (size_t i = 0; i < len; i++) {
        switch (from[i]) {
        case '\\':
            fputs("\\e", out);
            break;
        case '-':
            fputs("\\-", out);
            break;
        case '"':
            fputs("\\(dq", out);
            break;
        default:
            fputc(from[i], out);
        }
    }
}

static void whole(FILE *out, const char *from)
{
    text(out, from, strlen(from), true);
}

/* Text in lines that are not too long, with @p end after the last word. */
static void filled(FILE *out, const char *from, const char *end)
{
    size_t used = 0;
    while (*from != '\0') {
        size_t len = strcspn(from, " ");
        bool breaks = used > 0 && used + 1 + len > FILL_WIDTH;
        if (used > 0)
            fputc(breaks ? '\n' : ' ', out);
        used = used == 0 || breaks ? len : used + 1 + len;
        text(out, from, len, used == len);
        from += len;
        from += strspn(from, " ");
    }
    fprintf(out, "%s\n", end);
}

/* Lines as they stand: tables and examples keep their shape. */
static void literal(FILE *out, const char *offset, const char *from)
{
    fprintf(out, ".Bd -literal%s\n", offset);
    while (*from != '\0') {
        size_t len = strcspn(from, "\n");
        text(out, from, len, true);
        fputc('\n', out);
        from += len + (from[len] == '\n');
    }
    fputs(".Ed\n", out);
}

static void one_option(FILE *out, const struct lm_option *o)
{
    fputs(".It", out);
    if (o->letter != 0)
        fprintf(out, " Fl %c ,", o->letter);
    fputs(" Fl ", out);
    whole(out, "-");
    whole(out, o->name);
    if (o->argument != NULL) {
        fputs(" Ar \"", out);
        whole(out, o->argument);
        fputc('"', out);
    }
    fputc('\n', out);
    filled(out, o->help, "");
}

static void option_list(FILE *out, const struct lm_option *options)
{
    fputs(".Bl -tag -width Ds\n", out);
    for (const struct lm_option *o = options; o->name != NULL; o++)
        one_option(out, o);
    fputs(".El\n", out);
}

static void one_command(FILE *out, const struct lm_command *c)
{
    fprintf(out, ".Ss lugmark ");
    whole(out, c->name);
    fputs("\n.Nm\n.Cm ", out);
    whole(out, c->name);
    fputs("\n.Op Ar options\n", out);
    if (c->arguments[0] != '\0') {
        fputs(".Ar \"", out);
        whole(out, c->arguments);
        fputs("\"\n", out);
    }
    fputs(".Pp\n", out);
    filled(out, c->summary, ".");
    if (c->details != NULL)
        literal(out, "", c->details);
    if (c->options != NULL && c->options[0].name != NULL) {
        fputs(".Pp\nIts options:\n", out);
        option_list(out, c->options);
    }
    fputs(".Pp\nFor example:\n", out);
    literal(out, " -offset indent", c->example);
}

void lm_help_mdoc(FILE *out)
{
    const struct lm_command *const *all = lm_commands(NULL);
    fputs(".Sh OPTIONS OF EVERY COMMAND\n", out);
    option_list(out, lm_common_options());
    for (int g = 0; g < LM_GROUPS; g++) {
        fputs(".Sh ", out);
        for (const char *at = lm_group_name((enum lm_group) g); *at != '\0'; at++)
            fputc(toupper((unsigned char) *at), out);
        fputc('\n', out);
        for (size_t i = 0; all[i] != NULL; i++)
            if ((int) all[i]->group == g)
                one_command(out, all[i]);
    }
}
