/* The decoders that a configuration describes. */
#include "try.h"

#include <stdlib.h>
#include <string.h>

#include "problem.h"

struct reading {
    struct lm_try *t;
    struct lm_try_section *section; /* NULL in one of no interest */
    struct lm_problems problems;
};

static void bad(struct reading *r, long line, const char *mend, const char *what)
{
    struct lm_problem p = {.line = line};
    lm_problem_set(&p, LM_EINPUT, mend, "%s", what);
    snprintf(p.file, sizeof p.file, "%s", r->t->config);
    lm_problems_add(&p, &r->problems);
}

static void on_bad(void *ctx, long line, const char *mend, const char *what)
{
    bad(ctx, line, mend, what);
}

static void on_section(void *ctx, long line, const char *text)
{
    struct reading *r = ctx;
    r->section = NULL;
    if (text == NULL)
        return;
    size_t word = strcspn(text, " ");
    bool frame = word == 5 && memcmp(text, "frame", word) == 0;
    bool reader = word == 6 && memcmp(text, "reader", word) == 0;
    if (!frame && !reader)
        return;
    if (r->t->n_sections == LM_TRY_SECTIONS) {
        bad(r, line, "take some out", "too many readers and frames");
        return;
    }
    r->section = &r->t->sections[r->t->n_sections++];
    r->section->frame = frame;
    r->section->line = line;
    const char *name = text + word + strspn(text + word, " ");
    lm_text_copy(r->section->name, sizeof r->section->name, name, strlen(name));
}

static void check_frame_key(struct reading *r, long line, const char *key)
{
    char what[160], mend[64];
    size_t n = 0;
    for (; lm_frame_keys[n] != NULL; n++)
        if (strcmp(lm_frame_keys[n], key) == 0)
            return;
    const char *near = lm_nearest(key, lm_frame_keys, n);
    snprintf(what, sizeof what, "[frame %.60s] has no key %.40s", r->section->name, key);
    snprintf(mend, sizeof mend, "did you mean %s?", near != NULL ? near : "fields");
    bad(r, line, mend, what);
}

static void on_key(void *ctx, long line, const char *key, const char *value)
{
    struct reading *r = ctx;
    struct lm_try_section *s = r->section;
    if (s == NULL)
        return;
    if (s->frame)
        check_frame_key(r, line, key);
    if (lm_try_setting(s, key) != NULL) {
        bad(r, line, "take one of the two out", "this key stands twice in its section");
    } else if (s->n == LM_TRY_SETTINGS) {
        bad(r, line, "take some out", "too many keys in one section");
    } else {
        snprintf(s->settings[s->n].key, sizeof s->settings[s->n].key, "%s", key);
        snprintf(s->settings[s->n].value, sizeof s->settings[s->n].value, "%s", value);
        s->settings[s->n++].line = line;
    }
}

const char *lm_try_setting(const struct lm_try_section *s, const char *key)
{
    for (size_t i = 0; i < s->n; i++)
        if (strcmp(s->settings[i].key, key) == 0)
            return s->settings[i].value;
    return NULL;
}

/* The line of the key that a problem begins with, or of the heading. */
static long line_of(const struct lm_try_section *s, const char *what)
{
    for (size_t i = 0; i < s->n; i++) {
        size_t len = strlen(s->settings[i].key);
        if (strncmp(what, s->settings[i].key, len) == 0 && what[len] == ':')
            return s->settings[i].line;
    }
    return s->line;
}

/* Add a decoder with the settings of a section (NULL: none), and see whether it can be made. */
static struct lm_try_decoder *add(
    struct reading *r, const char *name, const char *word, struct lm_try_section *s)
{
    struct lm_try_decoder *d = &r->t->decoders[r->t->n_decoders];
    struct lm_problem p = {0};
    snprintf(d->name, sizeof d->name, "%s", name);
    d->used_by = s != NULL ? s->used_by : "";
    d->ops = lm_decoder_find(word);
    d->is_frame = strcmp(word, "frame") == 0;
    for (size_t i = 0; s != NULL && i < s->n; i++)
        d->settings[d->n_settings++] =
            (struct lm_setting){s->settings[i].key, s->settings[i].value};
    void *state = d->ops->new_(d->settings, d->n_settings, &p);
    if (state != NULL) {
        d->ops->free_(state);
        if (d->is_frame)
            lm_frame_spec_read(&d->spec, d->settings, d->n_settings, NULL);
        r->t->n_decoders++;
    } else if (s != NULL) {
        bad(r, line_of(s, p.what), p.mend, p.what);
        *d = (struct lm_try_decoder){.name = ""};
    }
    return d;
}

static struct lm_try_section *frame_named(struct lm_try *t, const char *name)
{
    for (size_t i = 0; i < t->n_sections; i++)
        if (t->sections[i].frame && strcmp(t->sections[i].name, name) == 0)
            return &t->sections[i];
    return NULL;
}

static void use_frame(struct reading *r, const struct lm_try_section *reader, const char *name)
{
    char what[128];
    struct lm_try_section *frame = frame_named(r->t, name);
    if (frame == NULL) {
        snprintf(what, sizeof what, "there is no section [frame %.60s]", name);
        bad(r, reader->line, "describe it in a section of that name", what);
        return;
    }
    size_t used = strlen(frame->used_by);
    snprintf(frame->used_by + used, sizeof frame->used_by - used, "%s%s", used > 0 ? ", " : "",
        reader->name);
}

/* A reader's decoder is one more to try when it has settings of its own. */
static void use_reader(struct reading *r, struct lm_try_section *reader)
{
    char name[LM_TRY_NAME], what[128];
    const char *driver = lm_try_setting(reader, "driver");
    const char *decoder = lm_try_setting(reader, "decoder");
    if (driver != NULL && strcmp(driver, "serial") != 0)
        return;
    decoder = decoder != NULL ? decoder : "text";
    if (strncmp(decoder, "frame ", 6) == 0) {
        use_frame(r, reader, decoder + 6 + strspn(decoder + 6, " "));
        return;
    }
    const struct lm_decoder_ops *ops = lm_decoder_find(decoder);
    if (ops == NULL) {
        snprintf(what, sizeof what, "decoder: '%.60s' is not known", decoder);
        bad(r, line_of(reader, what), "write text, telegram or frame NAME", what);
        return;
    }
    bool own = false;
    for (size_t i = 0; ops->keys[i] != NULL; i++)
        own = own || lm_try_setting(reader, ops->keys[i]) != NULL;
    snprintf(name, sizeof name, "%s of reader %s", decoder, reader->name);
    if (own || strcmp(decoder, "frame") == 0)
        add(r, name, decoder, reader);
}

static void add_telegram(struct reading *r, const char *name, const char *coding, const char *order)
{
    struct lm_try_decoder *d = &r->t->decoders[r->t->n_decoders];
    if (r->t->n_decoders == LM_TRY_DECODERS)
        return;
    d->settings[d->n_settings++] = (struct lm_setting){"coding", coding};
    d->settings[d->n_settings++] = (struct lm_setting){"bit_order", order};
    add(r, name, "telegram", NULL);
}

/* Every decoder of drivers/list.h but frames, of which there are as many as are described. */
static void add_built_in(struct reading *r)
{
    for (const char *const *name = lm_decoder_names(); *name != NULL; name++)
        if (strcmp(*name, "frame") != 0 && r->t->n_decoders < LM_TRY_DECODERS)
            add(r, *name, *name, NULL);
    add_telegram(r, "telegram, bit_order = lsb", "fdx-b", "lsb");
    add_telegram(r, "telegram, coding = hdx", "hdx", "msb");
    add_telegram(r, "telegram, coding = hdx, bit_order = lsb", "hdx", "lsb");
}

int lm_try_configure(struct lm_try *t, const char *path)
{
    struct reading r = {.t = t};
    const struct lm_ini to = {on_section, on_key, on_bad, &r};
    if (path != NULL) {
        snprintf(t->config, sizeof t->config, "%s", path);
        lm_ini_read(path, &to);
    }
    for (size_t i = 0; i < t->n_sections; i++) {
        char name[LM_TRY_NAME];
        snprintf(name, sizeof name, "frame %s", t->sections[i].name);
        if (t->sections[i].frame)
            add(&r, name, "frame", &t->sections[i]);
    }
    for (size_t i = 0; i < t->n_sections; i++)
        if (!t->sections[i].frame)
            use_reader(&r, &t->sections[i]);
    add_built_in(&r);
    return lm_problems_end(&r.problems);
}

const struct lm_try_section *lm_try_reader_at(const struct lm_try *t, const char *port)
{
    char *want = realpath(port, NULL);
    const struct lm_try_section *found = NULL;
    for (size_t i = 0; i < t->n_sections && found == NULL; i++) {
        const char *own = t->sections[i].frame ? NULL : lm_try_setting(&t->sections[i], "port");
        char *real = own != NULL ? realpath(own, NULL) : NULL;
        if (real != NULL && want != NULL && strcmp(real, want) == 0)
            found = &t->sections[i];
        free(real);
    }
    free(want);
    return found;
}
