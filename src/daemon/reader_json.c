#include "reader.h"

#include "verdict_json.h"
#include <string.h>

static json_t *rejects_json(const struct reader *r)
{
    json_t *out = json_object();
    for (unsigned i = 0; i < LM_REJECTS; i++) {
        json_object_set_new(
            out, lm_reject_name((enum lm_reject) i), json_integer((json_int_t) r->rejects[i]));
    }
    return out;
}

/* A text of a problem, or null; it may hold a path in bytes that are no text. */
static json_t *problem_json(const struct lm_problem *p, const char *text)
{
    char clean[LM_PROBLEM_TEXT_MAX];
    if (p->err == LM_OK || text[0] == '\0') {
        return json_null();
    }
    lm_text_copy(clean, sizeof clean, text, strlen(text));
    return json_string(clean);
}

json_t *reader_json(const struct reader *r, bool event)
{
    const struct config_reader *c = r->config;
    const char *port = lm_setting_get(c->list, c->n_list, "port");
    char device[LM_PROBLEM_FILE_MAX];
    const char *found = c->ops->describe != NULL ? c->ops->describe(r->state) : "";
    lm_text_copy(device, sizeof device, found, strlen(found));
    json_t *out = json_pack("{s:s, s:s, s:s, s:s, s:o, s:s, s:s, s:I, s:I, s:o, s:o, s:o, s:o}",
        "name", c->block.name, "lane", c->lane, "driver", c->ops->name, "state", life_name(r->life),
        "since", time_json(r->since_ms), "port", port != NULL ? port : "", "device", device,
        "opened", (json_int_t) r->openings, "readings", (json_int_t) r->readings, "last",
        time_json(r->last_ms), "rejects", rejects_json(r), "problem",
        problem_json(&r->problem, r->problem.what), "mend",
        problem_json(&r->problem, r->problem.mend));
    if (out != NULL && event) {
        json_object_set_new(out, "event", json_string("reader"));
    }
    return out;
}
