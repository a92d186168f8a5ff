#include "report/jsonout.h"

#include "lugmark/time.h"

void lm_jsonout_text(FILE *out, const char *text)
{
    if (!text) {
        fputs("null", out);
        return;
    }
    putc('"', out);
    for (const unsigned char *c = (const unsigned char *) text; *c; c++) {
        if (*c == '"' || *c == '\\')
            putc('\\', out);
        if (*c < 0x20)
            fprintf(out, "\\u%04X", *c);
        else
            putc(*c, out);
    }
    putc('"', out);
}

void lm_jsonout_text_or_null(FILE *out, const char *text)
{
    lm_jsonout_text(out, text && text[0] ? text : NULL);
}

void lm_jsonout_time(FILE *out, int64_t t_ms)
{
    char text[LM_TIME_TEXT_SIZE];
    lm_jsonout_text_or_null(out, lm_time_format(t_ms, text));
}

void lm_jsonout_eid(FILE *out, struct lm_eid eid)
{
    char text[LM_EID_TEXT_SIZE];
    lm_jsonout_text(out, lm_eid_format(eid, text));
}
