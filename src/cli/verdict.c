/* A verdict and a session's figures, as the daemon says them. */
#include "verdict.h"

#include <inttypes.h>
#include <string.h>

#include "out_json.h"
#include "report/tongue.h"

enum lm_attention lm_verdict_attention(const json_t *verdict)
{
    char word[16];
    lm_json_text(verdict, "attention", word, sizeof word);
    if (strcmp(word, "go") == 0)
        return LM_GO;
    return strcmp(word, "look") == 0 ? LM_LOOK : LM_HOLD;
}

const char *lm_attention_say(enum lm_attention attention)
{
    /* TRANSLATORS: big letters on the screen: A to Z only, and short */
    static const char *const words[] = {
        [LM_GO] = N_("GO"), [LM_LOOK] = N_("LOOK"), [LM_HOLD] = N_("HOLD")};
    return _(words[attention <= LM_HOLD ? attention : LM_HOLD]);
}

int lm_attention_columns(void)
{
    int longest = 0;
    for (enum lm_attention a = LM_GO; a <= LM_HOLD; a++) {
        int width = lm_tongue_width(lm_attention_say(a));
        longest = width > longest ? width : longest;
    }
    return longest;
}

static void part(FILE *out, const char *before, const char *text)
{
    if (text[0] != '\0')
        fprintf(out, "%s%s", before, text);
}

void lm_verdict_line(FILE *out, const json_t *verdict)
{
    char text[LM_VISUAL_MAX + 1];
    const json_t *reasons = json_object_get(verdict, "reasons");
    fprintf(out, "%s", lm_json_text(verdict, "t", text, sizeof text));
    part(out, _("  lane "), lm_json_text(verdict, "lane", text, sizeof text));
    const char *word = lm_attention_say(lm_verdict_attention(verdict));
    fprintf(out, "  %s%*s", word, lm_attention_columns() - lm_tongue_width(word), "");
    part(out, "  ", lm_json_first(verdict, "visual", text, sizeof text));
    part(out, "  ", lm_json_text(verdict, "animal", text, sizeof text));
    part(out, "  ", lm_json_text(verdict, "eid", text, sizeof text));
    part(out, _("  called "), lm_json_text(verdict, "called", text, sizeof text));
    for (size_t i = 0; i < json_array_size(reasons); i++) {
        const json_t *r = json_array_get(reasons, i);
        if (json_is_string(r))
            lm_text_copy(text, sizeof text, json_string_value(r), json_string_length(r));
        part(out, i == 0 ? "  " : ", ", json_is_string(r) ? text : "?");
    }
    part(out, ": ", _(lm_json_text(verdict, "say", text, sizeof text)));
}

static void figure(FILE *out, const json_t *tally, const char *key, const char *say)
{
    int64_t n = lm_json_int(tally, key, -1);
    if (n >= 0)
        fprintf(out, "%s %" PRId64, say, n);
}

void lm_tally_line(FILE *out, const json_t *tally)
{
    figure(out, tally, "expected", _("expected"));
    figure(out, tally, "present", _(", seen"));
    figure(out, tally, "not_seen", _(", not yet seen"));
    figure(out, tally, "identified", _(", identified in all"));
    figure(out, tally, "heads", _(", heads counted"));
    figure(out, tally, "look", _(", look"));
    figure(out, tally, "hold", _(", hold"));
}

void lm_session_line(FILE *out, const json_t *session)
{
    char text[LM_NAME_MAX + 1];
    fprintf(out, "%s", lm_tongue_word(lm_json_text(session, "kind", text, sizeof text)));
    part(out, _(" of mob "), lm_json_text(session, "mob", text, sizeof text));
    part(out, _(" of lot "), lm_json_text(session, "lot", text, sizeof text));
    part(out, _(", count "), lm_json_text(session, "count", text, sizeof text));
    part(out, _(", by "), lm_json_text(session, "who", text, sizeof text));
    part(out, _(", session "), lm_json_text(session, "id", text, sizeof text));
    part(out, _(", opened "), lm_json_text(session, "opened", text, sizeof text));
    part(out, _(", closed "), lm_json_text(session, "closed", text, sizeof text));
}
