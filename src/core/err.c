/** @file err.c
 * What errors are called, and how a problem is put into words.
 */
#include "lugmark/err.h"

#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#include "lugmark/text.h"

const char *lm_err_str(enum lm_err err)
{
    switch (err) {
    case LM_OK:
        return "success";
    case LM_EARG:
        return "a bad argument inside the program";
    case LM_EIO:
        return "the operating system or the disk refused";
    case LM_EGONE:
        return "the device is no longer there";
    case LM_EAGAIN:
        return "nothing yet, try again later";
    case LM_EFRAME:
        return "not a known form";
    case LM_ECHECK:
        return "a checksum or a control bit is wrong";
    case LM_ENOMEM:
        return "out of memory";
    case LM_ENOSUP:
        return "not supported here";
    case LM_ERANGE:
        return "a value that cannot exist";
    case LM_EDAMAGED:
        return "damaged on its way";
    case LM_EAMBIGUOUS:
        return "can be taken in two ways";
    case LM_ENOTFOUND:
        return "there is none";
    case LM_EEXISTS:
        return "there is one already";
    case LM_EBUSY:
        return "somebody else holds it";
    case LM_ENEWER:
        return "written by a newer version of this program";
    case LM_EINPUT:
        return "bad input";
    case LM_EFULL:
        return "the disk is full";
    }
    return "an unknown error";
}

/** Copy a message, cleaned. A cut one ends in "..." so that nobody takes it for the whole. */
static void set_text(char out[LM_PROBLEM_TEXT_MAX], const char *text, size_t whole)
{
    lm_text_copy(out, LM_PROBLEM_TEXT_MAX, text, strlen(text));
    size_t len = strlen(out);
    if (whole >= LM_PROBLEM_TEXT_MAX && len > 3) {
        size_t at = len - 3;
        while (at > 0 && ((unsigned char) out[at] & 0xC0) == 0x80)
            at--;
        memcpy(out + at, "...", 4);
    }
}

enum lm_err lm_problem_set(
    struct lm_problem *p, enum lm_err err, const char *mend, const char *fmt, ...)
{
    if (p == NULL)
        return err;
    char text[LM_PROBLEM_TEXT_MAX];
    va_list ap;
    va_start(ap, fmt);
    int n = vsnprintf(text, sizeof text, fmt, ap);
    va_end(ap);
    if (n < 0) {
        text[0] = '\0';
        n = 0;
    }
    p->err = err;
    set_text(p->what, text, (size_t) n);
    if (mend == NULL) /* of this one there is nothing to know beside its name */
        mend = err == LM_ENOMEM ? "end other programs, then do it again" : "";
    set_text(p->mend, mend, strlen(mend));
    return err;
}

int lm_problem_format(const struct lm_problem *p, char *out, size_t size)
{
    char file[LM_PROBLEM_FILE_MAX];
    char place[64] = "";
    const char *mend_before = p->mend[0] != '\0' ? "; to mend: " : "";

    lm_text_copy(file, sizeof file, p->file, strnlen(p->file, sizeof p->file));
    if (file[0] != '\0' && p->line > 0 && p->column > 0)
        snprintf(place, sizeof place, ":%ld:%ld: ", p->line, p->column);
    else if (file[0] != '\0' && p->line > 0)
        snprintf(place, sizeof place, ":%ld: ", p->line);
    else if (file[0] != '\0')
        snprintf(place, sizeof place, ": ");
    else if (p->line > 0 && p->column > 0)
        snprintf(place, sizeof place, "line %ld, column %ld: ", p->line, p->column);
    else if (p->line > 0)
        snprintf(place, sizeof place, "line %ld: ", p->line);
    else if (p->column > 0)
        snprintf(place, sizeof place, "column %ld: ", p->column);
    return snprintf(out, size, "%s%s%s%s%s", file, place,
        p->what[0] != '\0' ? p->what : lm_err_str(p->err), mend_before, p->mend);
}
