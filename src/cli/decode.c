/* lugmark decode: what a code says, in every form in which codes are written. */
#include "command.h"

#include <string.h>

#include "decode_out.h"
#include "lines.h"
#include "problem.h"
#include "report/tongue.h"

struct run {
    enum lm_decode_style style;
    int worst;
};

static int worse(int a, int b)
{
    return b > a ? b : a; /* 0 good, 1 flagged, 3 bad: the order of the numbers */
}

static void one(struct run *run, const char *text, size_t len)
{
    run->worst = worse(run->worst, lm_decode_out(stdout, text, len, run->style));
}

static int from_stdin(struct run *run)
{
    struct lm_lines lines;
    struct lm_problem p = {0};
    const char *line;
    size_t len;
    enum lm_err err = lm_lines_open(&lines, stdin, "standard input", LM_LINES_MAX);
    while (err == LM_OK && (err = lm_lines_next(&lines, &line, &len, &p)) == LM_OK) {
        if (lm_line_is_blank(line, len) || line[0] == '#')
            continue;
        one(run, line, len);
        fflush(stdout); /* somebody may be typing, or a reader may be at the other end */
    }
    lm_lines_close(&lines);
    if (err == LM_EAGAIN)
        return LM_EXIT_OK;
    p.err = err;
    return lm_problem_fail(&p);
}

/* Unquoted blanks split a code into two arguments; say so, but do not guess. */
static void hint_quotes(const struct lm_args *args)
{
    char joined[256];
    struct lm_decoded code;
    if (args->n_rest != 2)
        return;
    int len = snprintf(joined, sizeof joined, "%s %s", args->rest[0], args->rest[1]);
    if (len > 0 && (size_t) len < sizeof joined &&
        lm_decode(joined, (size_t) len, &code, NULL) == LM_OK)
        lm_fail(
            0, "put it in quotes", "this looks like one code with a blank in it: \"%s\"", joined);
}

static int run(const struct lm_args *args)
{
    struct run r = {.style = LM_DECODE_LINE};
    unsigned dashes = 0;
    for (size_t i = 0; i < args->n_rest; i++)
        dashes += strcmp(args->rest[i], "-") == 0;
    if (dashes > 1)
        return lm_usage(args, "standard input can be read only once");
    if (lm_arg_given(args, "json"))
        r.style = LM_DECODE_JSON;
    else if (args->n_rest == 1 && dashes == 0)
        r.style = LM_DECODE_BLOCK;
    for (size_t i = 0; i < args->n_rest; i++) {
        if (strcmp(args->rest[i], "-") != 0)
            one(&r, args->rest[i], strlen(args->rest[i]));
        else
            r.worst = worse(r.worst, from_stdin(&r));
    }
    if (r.worst == LM_EXIT_INPUT)
        hint_quotes(args);
    return r.worst;
}

const struct lm_command lm_command_decode = {
    .name = "decode",
    .group = LM_GROUP_CODES,
    .summary = N_("Say every field of an electronic code"),
    .arguments = "CODE...",
    .details =
        "A code is 15 digits; 3 and 12 digits with a blank, -, . or _ between; a two-letter\n"
        "country and its digits; 16 hex digits (the 64 bits, most significant first); or a\n"
        "raw telegram in hex or as 0 and 1: 128 bits FDX-B, 112 bits HDX; or uid: and the\n"
        "hex digits of a 13.56 MHz chip, which is no code of an animal. Several codes give\n"
        "one line each; - reads lines from standard input. The exit status is the worst:\n"
        "0 good, 1 flagged (a test code, not an animal's, no country's), 3 no code.",
    .example = "lugmark decode 999000000012345\n"
               "lugmark decode --json \"999 000000012345\" 8000F9C000003039",
    .min_rest = 1,
    .max_rest = 1000000,
    .run = run,
};
