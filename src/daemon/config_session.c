#include "config.h"

#include <stdio.h>
#include <string.h>

/** Add a word, unless it would not fit whole. */
static void add(char *out, const char *name, const char *of, const char *value)
{
    size_t used = strlen(out), room = LM_SETTINGS_MAX + 1 - used;
    int n = snprintf(out + used, room, "%s%s%s=%s", used ? " " : "", name, of, value);
    if (n < 0 || (size_t) n >= room) {
        out[used] = '\0';
    }
}

static void add_ms(char *out, const char *name, const char *of, int64_t ms)
{
    char value[24];
    snprintf(value, sizeof value, "%lld", (long long) ms);
    add(out, name, of, value);
}

void config_session_settings(const struct config *cfg, char out[LM_SETTINGS_MAX + 1])
{
    struct lm_session_options usual;
    lm_session_defaults(&usual);
    out[0] = '\0';
    if (cfg->options.rearm_ms != usual.rearm_ms) {
        add_ms(out, "rearm_ms", "", cfg->options.rearm_ms);
    }
    if (cfg->options.crossing_ms != usual.crossing_ms) {
        add_ms(out, "crossing_ms", "", cfg->options.crossing_ms);
    }
    for (size_t i = 0; i < cfg->n_lanes; i++) {
        if (cfg->lanes[i].rearm_ms != LM_TIME_NONE) {
            add_ms(out, "rearm_ms.", cfg->lanes[i].name, cfg->lanes[i].rearm_ms);
        }
    }
    for (unsigned k = 0; k < LM_REASONS; k++) {
        if (cfg->options.attention[k] != usual.attention[k]) {
            add(out, lm_reason_name((enum lm_reason) k), "",
                lm_attention_name((enum lm_attention) cfg->options.attention[k]));
        }
    }
}
