#include "report/cell.h"

#include "lugmark/text.h"
#include <string.h>

void lm_cell(FILE *out, const char *text, const char *after)
{
    bool formula = lm_text_is_formula(text);
    /* ; and tab part cells in some countries' programs, and ' is what disarms. */
    bool quoted = formula || text[strcspn(text, ",;\"\t\r\n'")] != '\0';
    fputs(quoted ? "\"" : "", out);
    fputs(formula ? "'" : "", out);
    for (; *text; text++) {
        if (*text == '"')
            putc('"', out);
        putc(*text, out);
    }
    fputs(quoted ? "\"" : "", out);
    fputs(after, out);
}
