/* What the program says on standard error. */
#include "problem.h"
#include "report/tongue.h"

#include <stdarg.h>
#include <string.h>

/* A file that is wrong in every row says so soon; more would hide the rest. */
#define SHOWN_MAX 2000u

int lm_usage(const struct lm_args *args, const char *fmt, ...)
{
    char text[320], clean[320];
    va_list ap;
    va_start(ap, fmt);
    vsnprintf(text, sizeof text, fmt, ap);
    va_end(ap);
    const char *name = args->command->name;
    fprintf(stderr, _("lugmark %s: %s; to mend: see lugmark %s --help\n"), name,
        lm_clean(clean, sizeof clean, text), name);
    return LM_EXIT_USAGE;
}

void lm_problem_print(const struct lm_problem *p)
{
    char line[LM_PROBLEM_FILE_MAX + 2 * LM_PROBLEM_TEXT_MAX + 80];
    struct lm_problem bare = *p;
    bare.mend[0] = '\0';
    lm_problem_format(&bare, line, sizeof line);
    if (p->file[0] == '\0')
        fputs("lugmark: ", stderr);
    if (p->mend[0] != '\0')
        fprintf(stderr, _("%s; to mend: %s\n"), line, p->mend);
    else
        fprintf(stderr, "%s\n", line);
}

int lm_exit_of(enum lm_err err)
{
    switch (err) {
    case LM_OK:
        return LM_EXIT_OK;
    case LM_EARG:
        return LM_EXIT_USAGE;
    case LM_EFRAME:
    case LM_ECHECK:
    case LM_ERANGE:
    case LM_EDAMAGED:
    case LM_EAMBIGUOUS:
    case LM_EEXISTS:
    case LM_EINPUT:
        return LM_EXIT_INPUT;
    case LM_EIO:
    case LM_EGONE:
    case LM_EAGAIN:
    case LM_ENOMEM:
    case LM_ENOSUP:
    case LM_ENOTFOUND:
    case LM_EBUSY:
    case LM_ENEWER:
    case LM_EFULL:
        break;
    }
    return LM_EXIT_FAILED;
}

int lm_problem_fail(const struct lm_problem *p)
{
    lm_problem_print(p);
    return p->err == LM_OK ? LM_EXIT_FAILED : lm_exit_of(p->err);
}

int lm_fail(int exit, const char *mend, const char *fmt, ...)
{
    struct lm_problem p = {0};
    char text[LM_PROBLEM_TEXT_MAX];
    va_list ap;
    va_start(ap, fmt);
    vsnprintf(text, sizeof text, fmt, ap);
    va_end(ap);
    if (mend == NULL && exit == LM_EXIT_FAILED) /* what failed lies outside of the program */
        mend = _("see that there are memory and room on the disk, then do it again");
    else if (mend == NULL && exit == LM_EXIT_INPUT) /* what was named is not there, or closed */
        mend = _("check what was named, and who may read it");
    lm_problem_set(&p, LM_EINPUT, mend, "%s", text);
    lm_problem_print(&p);
    return exit;
}

const char *lm_clean(char *out, size_t size, const char *text)
{
    lm_text_copy(out, size, text, strlen(text));
    return out;
}

void lm_problems_add(const struct lm_problem *p, void *ctx)
{
    struct lm_problems *problems = ctx;
    if (problems->count++ < SHOWN_MAX)
        lm_problem_print(p);
}

int lm_problems_end(const struct lm_problems *problems)
{
    if (problems->count > SHOWN_MAX)
        fprintf(stderr, _("lugmark: and %lu problems more\n"), problems->count - SHOWN_MAX);
    return problems->count > 0 ? LM_EXIT_INPUT : LM_EXIT_OK;
}
