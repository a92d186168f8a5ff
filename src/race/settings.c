/*
 * The settings that an open event carries: `rearm_ms=3000 rearm_ms.2=5000 sold=look`.
 */
#include "race/session_priv.h"

#include <stdlib.h>
#include <string.h>

static void set_attention(struct lm_session *s, const char *name, const char *value)
{
    enum lm_reason reason;
    if (lm_reason_parse(name, &reason) != LM_OK)
        return;
    for (unsigned a = LM_GO; a <= LM_HOLD; a++) {
        if (strcmp(value, lm_attention_name((enum lm_attention) a)) == 0)
            s->options.attention[reason] = (uint8_t) a;
    }
}

static void set_one(struct lm_session *s, const char *name, const char *value)
{
    char *end;
    long long ms = strtoll(value, &end, 10);
    bool number = end != value && *end == '\0' && ms >= 0 && ms <= INT64_C(86400000);
    if (number && strcmp(name, "rearm_ms") == 0)
        s->options.rearm_ms = ms;
    else if (number && strcmp(name, "crossing_ms") == 0)
        s->options.crossing_ms = ms;
    else if (number && strcmp(name, "together_ms") == 0)
        s->options.together_ms = ms;
    else if (number && strncmp(name, "rearm_ms.", 9) == 0)
        lm_session_lane_rearm(s, name + 9, ms);
    else
        set_attention(s, name, value);
}

void lm_session_settings(struct lm_session *s, const char *settings)
{
    char text[LM_SETTINGS_MAX + 1];
    char *rest = text;
    strncpy(text, settings, sizeof text - 1);
    text[sizeof text - 1] = '\0';
    for (char *word = strtok_r(rest, " ", &rest); word; word = strtok_r(rest, " ", &rest)) {
        char *equals = strchr(word, '=');
        if (!equals)
            continue;
        *equals = '\0';
        set_one(s, word, equals + 1);
    }
}
