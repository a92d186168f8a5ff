/* Warnings that a person may override, each by its name. */
#include "warn.h"

#include <stdarg.h>

#include "problem.h"
#include "report/tongue.h"

void lm_warn(struct lm_warnings *w, const char *name, const char *fmt, ...)
{
    char text[LM_PROBLEM_TEXT_MAX], clean[LM_PROBLEM_TEXT_MAX];
    va_list ap;
    va_start(ap, fmt);
    vsnprintf(text, sizeof text, _(fmt), ap);
    va_end(ap);
    bool allowed = lm_arg_given(w->args, "yes") || lm_arg_given(w->args, name);
    lm_clean(clean, sizeof clean, text);
    if (allowed) {
        fprintf(stderr, _("lugmark: note: %s\n"), clean);
        return;
    }
    fprintf(stderr, _("lugmark: warning: %s; if it is right: --%s\n"), clean, name);
    w->standing++;
}

int lm_warnings_end(const struct lm_warnings *w)
{
    if (w->standing == 0)
        return LM_EXIT_OK;
    fputs(_("lugmark: nothing was written; look again, or say --yes\n"), stderr);
    return LM_EXIT_FLAGGED;
}
