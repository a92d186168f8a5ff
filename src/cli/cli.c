/* The program from its first word to its exit status. */
#include "command.h"

#include <errno.h>
#include <string.h>

#include "help.h"
#include "lugmark/version.h"
#include "problem.h"
#include "report/tongue.h"

static int unknown_command(const char *word)
{
    const char *names[64];
    size_t n = 0;
    char clean[64], mend[128];
    const struct lm_command *const *all = lm_commands(NULL);
    while (all[n] != NULL && n < sizeof names / sizeof *names) {
        names[n] = all[n]->name;
        n++;
    }
    const char *near = lm_nearest(word, names, n);
    if (near != NULL)
        snprintf(mend, sizeof mend, _("did you mean lugmark %s?"), near);
    else
        snprintf(mend, sizeof mend, _("see lugmark --help"));
    return lm_fail(
        LM_EXIT_USAGE, mend, _("there is no command \"%s\""), lm_clean(clean, sizeof clean, word));
}

/* How many words the common option at `word` takes when it stands before the command; 0: none. */
static int common_words(const char *word)
{
    if (strncmp(word, "--", 2) != 0)
        return 0;
    for (const struct lm_option *o = lm_common_options(); o->name != NULL; o++) {
        size_t len = strlen(o->name);
        if (strncmp(word + 2, o->name, len) != 0)
            continue;
        if (word[2 + len] == '\0')
            return o->argument != NULL ? 2 : 1;
        if (word[2 + len] == '=')
            return 1;
    }
    return 0;
}

static int run_command(const struct lm_command *command, int argc, char **argv)
{
    struct lm_args args;
    char message[256];
    if (!lm_args_parse(command, argc, argv, &args, message, sizeof message))
        return lm_usage(&args, "%s", message);
    if (lm_arg_given(&args, "help")) {
        lm_help_command(stdout, command);
        return LM_EXIT_OK;
    }
    const char *lang = lm_arg(&args, "lang");
    if (lang != NULL && strcmp(lang, "en") == 0)
        lm_tongue_give_back();
    else if (lang != NULL && !lm_tongue_lend(lang))
        return lm_usage(&args, _("--lang %s: there are no words in that language here"), lang);
    return command->run(&args);
}

/* `help --as=FORM`: for those who pack the program; not for the screen, so it is in no list. */
static int help_as(const char *form)
{
    char clean[64];
    if (strcmp(form, "mdoc") == 0)
        lm_help_mdoc(stdout);
    else if (strcmp(form, "completion") == 0)
        lm_help_completion(stdout);
    else
        return lm_fail(LM_EXIT_USAGE, "ask for mdoc or completion", "no help is written as \"%s\"",
            lm_clean(clean, sizeof clean, form));
    return LM_EXIT_OK;
}

static int dispatch(int argc, char **argv)
{
    int at = 1, words;
    while (at < argc && (words = common_words(argv[at])) > 0)
        at += words;
    if (argc < 2 || (at >= argc && strcmp(argv[1], "--help") != 0)) {
        lm_help_program(stderr);
        return LM_EXIT_USAGE;
    }
    if (strcmp(argv[1], "--help") == 0 || strcmp(argv[1], "-h") == 0 ||
        (strcmp(argv[1], "help") == 0 && argc == 2)) {
        lm_help_program(stdout);
        return LM_EXIT_OK;
    }
    if (strcmp(argv[1], "--version") == 0) {
        puts("lugmark " LM_VERSION);
        return LM_EXIT_OK;
    }
    if (strcmp(argv[1], "help") == 0 && strncmp(argv[2], "--as=", 5) == 0)
        return help_as(argv[2] + 5);
    if (strcmp(argv[1], "help") == 0)
        at = 2;
    const struct lm_command *command = lm_command_named(argv[at]);
    if (command == NULL)
        return unknown_command(argv[at]);
    if (strcmp(argv[1], "help") == 0) {
        lm_help_command(stdout, command);
        return LM_EXIT_OK;
    }
    /* Drop the command's name; the common options before it stay in front. */
    memmove(argv + 2, argv + 1, (size_t) (at - 1) * sizeof *argv);
    return run_command(command, argc - 2, argv + 2);
}

int lm_cli_main(int argc, char **argv)
{
    lm_tongue_begin();
    int exit = dispatch(argc, argv);
    bool bad = ferror(stdout) != 0;
    if (fflush(stdout) != 0 || bad)
        return lm_fail(LM_EXIT_FAILED, "make room on the disk or write elsewhere",
            "the output could not be written: %s", strerror(errno));
    return exit;
}
