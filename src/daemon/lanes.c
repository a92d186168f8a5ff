#include "lanes.h"

#include <string.h>

static const struct lane_tally *find(const struct lanes *lanes, const char *name)
{
    for (size_t i = 0; i < lanes->n; i++) {
        if (strcmp(lanes->all[i].lane, name) == 0) {
            return &lanes->all[i];
        }
    }
    return NULL;
}

void lanes_note(struct lanes *lanes, const struct lm_event *ev, const struct lm_verdict *verdict)
{
    if (ev->kind != LM_EVENT_READING) {
        return;
    }
    /* Mostly the next reading comes from where the last one came. */
    bool same = lanes->last < lanes->n && strcmp(lanes->all[lanes->last].lane, ev->lane) == 0;
    size_t i = same ? lanes->last : 0;
    while (!same && i < lanes->n && strcmp(lanes->all[i].lane, ev->lane) != 0) {
        i++;
    }
    if (i == sizeof lanes->all / sizeof lanes->all[0]) {
        return; /* more names than a configuration can have: the tally of the session has it */
    }
    if (i == lanes->n) {
        lanes->n++;
        snprintf(lanes->all[i].lane, sizeof lanes->all[i].lane, "%s", ev->lane);
    }
    lanes->last = i;
    lanes->all[i].readings++;
    lanes->all[i].passes += verdict->new_pass ? 1u : 0u;
}

static void add(json_t *out, const char *name, const struct lane_tally *tally)
{
    json_array_append_new(out, json_pack("{s:s, s:I, s:I}", "lane", name, "readings",
                                   tally != NULL ? (json_int_t) tally->readings : 0, "passes",
                                   tally != NULL ? (json_int_t) tally->passes : 0));
}

json_t *lanes_tally_json(const struct lanes *lanes, const struct config *config)
{
    const char *names[CONFIG_LANES + CONFIG_READERS];
    size_t n = config_lane_names(config, names);
    json_t *out = json_array();
    for (size_t i = 0; i < n; i++) {
        add(out, names[i], find(lanes, names[i]));
    }
    for (size_t i = 0; i < lanes->n; i++) {
        bool named = false;
        for (size_t k = 0; k < n; k++) {
            named = named || strcmp(names[k], lanes->all[i].lane) == 0;
        }
        if (!named) {
            add(out, lanes->all[i].lane, &lanes->all[i]);
        }
    }
    return out;
}
