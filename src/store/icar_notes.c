/* What one file could not hold, counted by text: a person wants to know it once, with a number. */
#include "icar_priv.h"

#include <stdarg.h>
#include <stdio.h>
#include <string.h>

enum lm_err lm_icar_notes_begin(struct icar_notes *n)
{
    n->counts = json_object();
    return n->counts != NULL ? LM_OK : LM_ENOMEM;
}

void lm_icar_note(struct icar_notes *n, bool left_out, const char *fmt, ...)
{
    char text[LM_PROBLEM_TEXT_MAX], clean[LM_PROBLEM_TEXT_MAX];
    va_list ap;
    va_start(ap, fmt);
    vsnprintf(text, sizeof text, fmt, ap);
    va_end(ap);
    lm_text_copy(clean, sizeof clean, text, strlen(text));
    json_t *count = json_object_get(n->counts, clean);
    if (count == NULL && json_object_size(n->counts) >= ICAR_NOTES_MAX) {
        snprintf(
            clean, sizeof clean, "%s", left_out ? "left out for other reasons" : "other things");
        count = json_object_get(n->counts, clean);
    }
    if (count != NULL)
        json_integer_set(count, json_integer_value(count) + (left_out ? -1 : 1));
    else
        json_object_set_new(n->counts, clean, json_integer(left_out ? -1 : 1));
}

void lm_icar_notes_tell(struct icar_notes *n, lm_icar_note_fn *fn, void *ctx)
{
    const char *text;
    json_t *count;
    if (fn == NULL)
        return;
    json_object_foreach(n->counts, text, count)
    {
        json_int_t k = json_integer_value(count);
        fn(text, (unsigned long) (k < 0 ? -k : k), k < 0, ctx);
    }
}

void lm_icar_notes_end(struct icar_notes *n)
{
    json_decref(n->counts);
    n->counts = NULL;
}
