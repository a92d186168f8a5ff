/* A verdict and a session's figures, as the daemon says them. */
#include "verdict.h"

#include <inttypes.h>
#include <string.h>

#include "out_json.h"

enum lm_attention lm_verdict_attention(const json_t *verdict)
{
    char word[16];
    lm_json_text(verdict, "attention", word, sizeof word);
    if (strcmp(word, "go") == 0)
        return LM_GO;
    return strcmp(word, "look") == 0 ? LM_LOOK : LM_HOLD;
}

static void part(FILE *out, const char *before, const char *text)
{
    if (text[0] != '\0')
        fprintf(out, "%s%s", before, text);
}

void lm_verdict_line(FILE *out, const json_t *verdict)
{
    static const char *const words[] = {[LM_GO] = "GO  ", [LM_LOOK] = "LOOK", [LM_HOLD] = "HOLD"};
    char text[LM_VISUAL_MAX + 1];
    const json_t *reasons = json_object_get(verdict, "reasons");
    fprintf(out, "%s", lm_json_text(verdict, "t", text, sizeof text));
    part(out, "  lane ", lm_json_text(verdict, "lane", text, sizeof text));
    fprintf(out, "  %s", words[lm_verdict_attention(verdict)]);
    part(out, "  ", lm_json_first(verdict, "visual", text, sizeof text));
    part(out, "  ", lm_json_text(verdict, "animal", text, sizeof text));
    part(out, "  ", lm_json_text(verdict, "eid", text, sizeof text));
    part(out, "  called ", lm_json_text(verdict, "called", text, sizeof text));
    for (size_t i = 0; i < json_array_size(reasons); i++) {
        const json_t *r = json_array_get(reasons, i);
        if (json_is_string(r))
            lm_text_copy(text, sizeof text, json_string_value(r), json_string_length(r));
        part(out, i == 0 ? "  " : ", ", json_is_string(r) ? text : "?");
    }
    part(out, ": ", lm_json_text(verdict, "say", text, sizeof text));
}

static void figure(FILE *out, const json_t *tally, const char *key, const char *say)
{
    int64_t n = lm_json_int(tally, key, -1);
    if (n >= 0)
        fprintf(out, "%s %" PRId64, say, n);
}

void lm_tally_line(FILE *out, const json_t *tally)
{
    figure(out, tally, "expected", "expected");
    figure(out, tally, "present", ", seen");
    figure(out, tally, "not_seen", ", not yet seen");
    figure(out, tally, "identified", ", identified in all");
    figure(out, tally, "heads", ", heads counted");
    figure(out, tally, "look", ", look");
    figure(out, tally, "hold", ", hold");
}

void lm_session_line(FILE *out, const json_t *session)
{
    char text[LM_NAME_MAX + 1];
    fprintf(out, "%s", lm_json_text(session, "kind", text, sizeof text));
    part(out, " of mob ", lm_json_text(session, "mob", text, sizeof text));
    part(out, " of lot ", lm_json_text(session, "lot", text, sizeof text));
    part(out, ", count ", lm_json_text(session, "count", text, sizeof text));
    part(out, ", by ", lm_json_text(session, "who", text, sizeof text));
    part(out, ", session ", lm_json_text(session, "id", text, sizeof text));
    part(out, ", opened ", lm_json_text(session, "opened", text, sizeof text));
    part(out, ", closed ", lm_json_text(session, "closed", text, sizeof text));
}
