/* What came of a try, for machines. */
#include "try.h"

#include "out_json.h"

static json_t *part_json(const struct lm_try *t, const struct lm_try_part *part)
{
    char hex[2 * LM_FRAME_MAX + 1] = "";
    for (size_t i = 0; i < part->len && i < LM_FRAME_MAX; i++)
        snprintf(hex + 2 * i, 3, "%02X", t->bytes[part->at + i]);
    return json_pack("{s:s, s:s, s:o, s:o}", "name", part->name, "hex", hex, "value",
        lm_json_or_null(part->value), "note", lm_json_or_null(part->note));
}

static json_t *example_json(
    const struct lm_try *t, const struct lm_try_decoder *d, const struct lm_try_example *example)
{
    struct lm_try_part part;
    char code[LM_EID_TEXT_SIZE] = "";
    json_t *parts = json_array();
    for (size_t i = 0; lm_try_part(t, &d->spec, example, i, &part); i++)
        json_array_append_new(parts, part_json(t, &part));
    if (example->verdict.what == LM_FRAME_GOOD)
        lm_eid_format(example->verdict.eid, code);
    return json_pack("{s:I, s:o, s:o}", "at", (json_int_t) example->at, "eid",
        lm_json_or_null(code), "parts", parts);
}

static json_t *frames_json(const struct lm_try *t, const struct lm_try_decoder *d)
{
    struct lm_try_example found[LM_TRY_EXAMPLES];
    json_t *out = json_array();
    size_t n = lm_try_examples(t, &d->spec, found);
    for (size_t i = 0; i < n; i++)
        json_array_append_new(out, example_json(t, d, &found[i]));
    return out;
}

static json_t *decoder_json(const struct lm_try *t, const struct lm_try_decoder *d)
{
    json_t *codes = json_array(), *rejects = json_object();
    for (size_t i = 0; i < d->n_codes; i++)
        json_array_append_new(codes, json_pack("{s:s, s:I}", "eid", d->codes[i].text, "times",
                                         (json_int_t) d->codes[i].times));
    for (size_t i = 0; i < LM_REJECTS; i++)
        json_object_set_new(
            rejects, lm_reject_name((enum lm_reject) i), json_integer((json_int_t) d->rejects[i]));
    json_t *out = json_pack("{s:s, s:s, s:I, s:o, s:I, s:o}", "name", d->name, "readers",
        d->used_by, "readings", (json_int_t) d->readings, "codes", codes, "other_codes",
        (json_int_t) d->more_codes, "rejects", rejects);
    if (!d->is_frame)
        return out;
    struct lm_try_example near;
    bool any = d->readings == 0 && lm_try_nearest(t, &d->spec, &near);
    json_object_set_new(out, "guarded", json_boolean(lm_frame_is_guarded(&d->spec)));
    json_object_set_new(out, "frames", frames_json(t, d));
    json_object_set_new(out, "nearest", any ? example_json(t, d, &near) : json_null());
    return out;
}

void lm_try_show_json(const struct lm_try *t, const struct lm_try_decoder *best)
{
    json_t *decoders = json_array();
    for (size_t i = 0; i < t->n_decoders; i++)
        json_array_append_new(decoders, decoder_json(t, &t->decoders[i]));
    lm_json_line(stdout,
        json_pack("{s:s, s:s, s:o, s:I, s:o, s:o}", "schema", "lugmark.try/1", "source", t->source,
            "config", lm_json_or_null(t->config), "bytes", (json_int_t) t->len, "best",
            best != NULL ? json_string(best->name) : json_null(), "decoders", decoders));
}
