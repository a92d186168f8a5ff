/* The table of commands and the parser that reads it. */
#include "command.h"

#include <errno.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>

#include "problem.h"
#include "report/tongue.h"

static const struct lm_command *const all_commands[] = {
#define LM_COMMAND(name) &lm_command_##name,
#include "commands.h"
#undef LM_COMMAND
    NULL};

static const struct lm_option common_options[] = {
    {"db", 0, "FILE", N_("the register (else $LUGMARK_DB, else the one of your account)")},
    {"socket", 0, "PATH", N_("the daemon's socket (else $LUGMARK_SOCKET, else the usual places)")},
    {"json", 0, NULL, N_("write for machines")},
    {"lang", 0, "LANG", N_("language of the words, such as de; of those inside --json, too")},
    {"help", 'h', NULL, N_("show this help")},
    {NULL, 0, NULL, NULL},
};

const struct lm_command *const *lm_commands(size_t *n)
{
    if (n != NULL)
        *n = sizeof all_commands / sizeof *all_commands - 1;
    return all_commands;
}

const struct lm_command *lm_command_named(const char *name)
{
    for (size_t i = 0; all_commands[i] != NULL; i++)
        if (strcmp(all_commands[i]->name, name) == 0)
            return all_commands[i];
    return NULL;
}

const struct lm_option *lm_common_options(void)
{
    return common_options;
}

const struct lm_option *lm_command_option(const struct lm_command *command, size_t i)
{
    size_t own = 0;
    while (command->options != NULL && command->options[own].name != NULL)
        own++;
    if (i < own)
        return &command->options[i];
    size_t common = sizeof common_options / sizeof *common_options - 1;
    return i - own < common ? &common_options[i - own] : NULL;
}

/* Place of the option whose long name is the first `len` bytes of `name`, or whose letter is given;
 * -1 for none. */
static int find_option(const struct lm_command *command, const char *name, size_t len, char letter)
{
    const struct lm_option *o;
    for (size_t i = 0; (o = lm_command_option(command, i)) != NULL; i++) {
        bool same = name != NULL && strlen(o->name) == len && memcmp(o->name, name, len) == 0;
        if (same || (letter != 0 && o->letter == letter))
            return (int) i;
    }
    return -1;
}

static bool __attribute__((format(printf, 3, 4)))
complain(char *message, size_t size, const char *fmt, ...)
{
    char text[512];
    va_list ap;
    va_start(ap, fmt);
    vsnprintf(text, sizeof text, fmt, ap);
    va_end(ap);
    lm_text_copy(message, size, text, strlen(text)); /* the word may hold anything */
    return false;
}

static bool unknown_option(
    const struct lm_command *command, const char *word, size_t len, char *message, size_t size)
{
    const char *names[LM_OPTIONS_MAX];
    size_t n = 0;
    const struct lm_option *o;
    for (size_t i = 0; n < LM_OPTIONS_MAX && (o = lm_command_option(command, i)) != NULL; i++)
        names[n++] = o->name;
    char bare[64], clean[64];
    snprintf(bare, sizeof bare, "%.*s", (int) (len < 60 ? len : 60), word);
    lm_text_copy(clean, sizeof clean, bare, strlen(bare));
    const char *near = lm_nearest(bare, names, n);
    if (near != NULL)
        snprintf(message, size, _("there is no option --%s; did you mean --%s?"), clean, near);
    else
        snprintf(message, size, _("there is no option --%s"), clean);
    return false;
}

struct parse {
    struct lm_args *out;
    char **argv;
    int argc, next;
    char *message;
    size_t size;
};

/* Store the value of option `i`; `value` is what was glued to it, or NULL. */
static bool take(struct parse *p, int i, const char *value)
{
    const struct lm_option *o = lm_command_option(p->out->command, (size_t) i);
    char named[80];
    snprintf(named, sizeof named, "--%s", o->name);
    if (o->argument == NULL) {
        if (value != NULL)
            return complain(p->message, p->size, _("no value can follow %s"), named);
        p->out->values[i] = "";
        return true;
    }
    if (p->out->values[i] != NULL)
        return complain(p->message, p->size, _("given twice: %s"), named);
    if (value == NULL && p->next < p->argc)
        value = p->argv[p->next++];
    if (value == NULL)
        return complain(p->message, p->size, _("a value must follow %s"), named);
    p->out->values[i] = value;
    return true;
}

static bool take_long(struct parse *p, const char *word)
{
    const char *equals = strchr(word, '=');
    size_t len = equals != NULL ? (size_t) (equals - word) : strlen(word);
    int i = find_option(p->out->command, word, len, 0);
    if (i < 0)
        return unknown_option(p->out->command, word, len, p->message, p->size);
    return take(p, i, equals != NULL ? equals + 1 : NULL);
}

/* One word of short options: switches may be joined, a value may be glued to the last one. */
static bool take_short(struct parse *p, const char *word)
{
    for (const char *at = word; *at != '\0'; at++) {
        int i = find_option(p->out->command, NULL, 0, *at);
        if (i < 0) {
            char named[3] = {'-', *at, '\0'};
            return complain(p->message, p->size, _("there is no option %s"), named);
        }
        if (lm_command_option(p->out->command, (size_t) i)->argument != NULL)
            return take(p, i, at[1] != '\0' ? at + 1 : NULL);
        if (!take(p, i, NULL))
            return false;
    }
    return true;
}

static bool count_rest(const struct lm_args *args, char *message, size_t size)
{
    const struct lm_command *c = args->command;
    if (lm_arg_given(args, "help"))
        return true;
    if (args->n_rest > c->max_rest)
        return complain(message, size, _("one argument too many: %s"), args->rest[c->max_rest]);
    if (args->n_rest < c->min_rest)
        return complain(message, size, _("an argument is missing: %s"), c->arguments);
    return true;
}

bool lm_args_parse(const struct lm_command *command, int argc, char **argv, struct lm_args *out,
    char *message, size_t size)
{
    struct parse p = {out, argv, argc, 0, message, size};
    bool options = true;
    memset(out, 0, sizeof *out);
    out->command = command;
    out->rest = argv;
    while (p.next < argc) {
        char *word = argv[p.next++];
        bool good = true;
        if (options && strcmp(word, "--") == 0)
            options = false;
        else if (options && word[0] == '-' && word[1] == '-')
            good = take_long(&p, word + 2);
        else if (options && word[0] == '-' && word[1] != '\0')
            good = take_short(&p, word + 1);
        else
            argv[out->n_rest++] = word; /* never past p.next: words only move forward */
        if (!good)
            return false;
    }
    return count_rest(out, message, size);
}

const char *lm_arg(const struct lm_args *args, const char *name)
{
    int i = find_option(args->command, name, strlen(name), 0);
    return i < 0 ? NULL : args->values[i];
}

bool lm_arg_given(const struct lm_args *args, const char *name)
{
    return lm_arg(args, name) != NULL;
}

bool lm_arg_number(const struct lm_args *args, const char *name, long min, long max, long *value)
{
    const char *text = lm_arg(args, name);
    char *end = NULL;
    if (text == NULL)
        return true;
    errno = 0;
    long n = strtol(text, &end, 10);
    bool digits = text[0] >= '0' && text[0] <= '9';
    if (!digits || *end != '\0' || errno != 0 || n < min || n > max) {
        lm_usage(
            args, _("--%s wants a whole number from %ld to %ld, not \"%s\""), name, min, max, text);
        return false;
    }
    *value = n;
    return true;
}
