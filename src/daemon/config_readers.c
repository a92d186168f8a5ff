#include "config_parse.h"

#include <stdlib.h>
#include <string.h>

#define SILENT_DEFAULT_MS 60000

static const char *const own_keys[] = {"lane", "driver", "silent_s", NULL};

static const struct config_setting *find(const struct config_block *block, const char *key)
{
    for (size_t i = 0; i < block->n; i++) {
        if (strcmp(block->settings[i].key, key) == 0) {
            return &block->settings[i];
        }
    }
    return NULL;
}

/* Every key must be known to the daemon, to the driver or to the decoder. */
static void check_keys(struct config_parse *c, const char *kind, const struct config_block *block,
    const char *const *const *lists, size_t n)
{
    for (size_t i = 0; i < block->n; i++) {
        const struct config_setting *s = &block->settings[i];
        bool known = false;
        for (size_t k = 0; k < n; k++) {
            known = known || config_is_one(s->key, lists[k]);
        }
        if (!known) {
            char mend[LM_PROBLEM_TEXT_MAX];
            config_bad(c, s->line, config_suggest_of(s->key, lists, n, mend, sizeof mend),
                "[%s %s] has no key %s", kind, block->name, s->key);
        }
    }
}

static void add_settings(struct config_reader *r, const struct config_block *block)
{
    for (size_t i = 0; i < block->n; i++) {
        const struct config_setting *s = &block->settings[i];
        if (config_is_one(s->key, own_keys)) {
            continue;
        }
        r->list[r->n_list++] = (struct lm_setting){s->key, s->value};
    }
}

/* `decoder = frame NAME` takes the keys of [frame NAME]. Returns that section, NULL for none. */
static const struct config_block *frame_of(
    struct config_parse *c, const struct config_setting *decoder)
{
    if (decoder == NULL || strncmp(decoder->value, "frame ", 6) != 0) {
        return NULL;
    }
    const char *name = decoder->value + 6 + strspn(decoder->value + 6, " ");
    const char *names[CONFIG_FRAMES + 1];
    for (size_t i = 0; i < c->cfg->n_frames; i++) {
        if (strcmp(c->cfg->frames[i].name, name) == 0) {
            return &c->cfg->frames[i];
        }
        names[i] = c->cfg->frames[i].name;
    }
    names[c->cfg->n_frames] = NULL;
    char mend[LM_PROBLEM_TEXT_MAX];
    config_bad(c, decoder->line,
        c->cfg->n_frames == 0 ? "describe it in a section [frame NAME]"
                              : config_suggest(name, names, mend, sizeof mend),
        "there is no section [frame %s]", name);
    return NULL;
}

/* The decoder that a reader names; one it does not name is the driver's business. */
static const struct lm_decoder_ops *decoder_of(
    struct config_parse *c, const struct config_setting *decoder)
{
    if (decoder == NULL) {
        return lm_decoder_find("text");
    }
    char word[CONFIG_KEY_MAX];
    snprintf(word, sizeof word, "%.*s", (int) strcspn(decoder->value, " "), decoder->value);
    const struct lm_decoder_ops *ops = lm_decoder_find(word);
    if (ops == NULL) {
        char mend[LM_PROBLEM_TEXT_MAX];
        config_bad(c, decoder->line, config_suggest(word, lm_decoder_names(), mend, sizeof mend),
            "no decoder is called %s", word);
    }
    return ops;
}

static void finish_frames(struct config_parse *c)
{
    const struct lm_decoder_ops *ops = lm_decoder_find("frame");
    const char *const *lists[] = {ops != NULL ? ops->keys : NULL};
    for (size_t i = 0; i < c->cfg->n_frames; i++) {
        check_keys(c, "frame", &c->cfg->frames[i], lists, ops != NULL ? 1 : 0);
    }
}

static void finish_decoder(struct config_parse *c, struct config_reader *r)
{
    const struct config_setting *decoder = find(&r->block, "decoder");
    const struct lm_decoder_ops *ops = decoder_of(c, decoder);
    const char *const *lists[] = {own_keys, r->ops->keys, ops != NULL ? ops->keys : NULL};
    if (ops != NULL) {
        check_keys(c, "reader", &r->block, lists, 3);
    }
    const struct config_block *frame = ops != NULL ? frame_of(c, decoder) : NULL;
    add_settings(r, &r->block);
    r->frame = frame;
    if (frame != NULL) {
        add_settings(r, frame);
        for (size_t i = 0; i < r->n_list; i++) {
            if (strcmp(r->list[i].key, "decoder") == 0) {
                r->list[i].value = "frame"; /* its name means nothing to the decoder */
            }
        }
    }
}

static void finish_reader(struct config_parse *c, struct config_reader *r)
{
    const struct config_setting *lane = find(&r->block, "lane");
    const struct config_setting *driver = find(&r->block, "driver");
    const struct config_setting *silent = find(&r->block, "silent_s");
    const char *name = lane != NULL ? lane->value : "1";
    if (!lm_text_copy(r->lane, sizeof r->lane, name, strlen(name)) || r->lane[0] == '\0') {
        config_bad(c, lane != NULL ? lane->line : r->block.line, "write a short name such as 1",
            "lane = %s is no name of a lane", name);
    }
    r->silent_ms = SILENT_DEFAULT_MS;
    if (silent != NULL) {
        long s = strtol(silent->value, NULL, 10);
        if (strspn(silent->value, "0123456789") != strlen(silent->value) || s < 1 || s > 86400) {
            config_bad(c, silent->line, "write a whole number such as 60",
                "silent_s = %s is no time of 1 to 86400 seconds", silent->value);
        }
        r->silent_ms = s * 1000;
    }
    const char *driver_name = driver != NULL ? driver->value : "serial";
    r->ops = lm_driver_find(driver_name);
    if (r->ops == NULL) {
        char mend[LM_PROBLEM_TEXT_MAX];
        config_bad(c, driver != NULL ? driver->line : r->block.line,
            config_suggest(driver_name, lm_driver_names(), mend, sizeof mend),
            "[reader %s]: no driver is called %s", r->block.name, driver_name);
        return;
    }
    finish_decoder(c, r);
}

void config_finish_readers(struct config_parse *c)
{
    finish_frames(c);
    for (size_t i = 0; i < c->cfg->n_readers; i++) {
        finish_reader(c, &c->cfg->readers[i]);
    }
}
