/* lugmark readers --try: captured bytes through every decoder, to see which one fits. */
#include "try.h"

#include <limits.h>
#include <stdlib.h>
#include <string.h>

#include "problem.h"

static void on_reject(void *ctx, enum lm_reject reject, size_t bytes)
{
    struct lm_try_decoder *d = ctx;
    d->rejects[reject]++;
    d->reject_bytes[reject] += bytes;
}

static void on_reading(void *ctx, const struct lm_event *event)
{
    struct lm_try_decoder *d = ctx;
    /* Impossible codes are told at the race; they do not speak for a decoder. */
    if (event->doubt != LM_DOUBT_NONE) {
        bool range = event->doubt == LM_DOUBT_OUT_OF_RANGE;
        on_reject(d, range ? LM_REJECT_RANGE : LM_REJECT_CHECK, strlen(event->text));
        return;
    }
    uint64_t key = lm_eid_key(event->eid);
    size_t i = 0;
    d->readings++;
    while (i < d->n_codes && d->codes[i].key != key)
        i++;
    if (i == LM_TRY_CODES) {
        d->more_codes++;
        return;
    }
    if (i == d->n_codes) {
        d->codes[d->n_codes++].key = key;
        lm_eid_format(event->eid, d->codes[i].text);
    }
    d->codes[i].times++;
}

static int run_decoder(const struct lm_try *t, struct lm_try_decoder *d)
{
    struct lm_problem p = {0};
    const struct lm_sink sink = {.reading = on_reading, .reject = on_reject, .ctx = d};
    void *state = d->ops->new_(d->settings, d->n_settings, &p);
    if (state == NULL)
        return lm_problem_fail(&p);
    d->ops->feed(state, t->bytes, t->len, &sink);
    d->ops->free_(state);
    return LM_EXIT_OK;
}

/* Most readings, but what nothing guards only when nothing else finds a code. */
static const struct lm_try_decoder *best_of(const struct lm_try *t)
{
    const struct lm_try_decoder *best = NULL;
    bool best_guarded = false;
    for (size_t i = 0; i < t->n_decoders; i++) {
        const struct lm_try_decoder *d = &t->decoders[i];
        bool guarded = !d->is_frame || lm_frame_is_guarded(&d->spec);
        if (d->readings == 0 || (best_guarded && !guarded))
            continue;
        if (best == NULL || (guarded && !best_guarded) || d->readings > best->readings) {
            best = d;
            best_guarded = guarded;
        }
    }
    return best;
}

static int try_all(struct lm_try *t, const struct lm_args *args)
{
    char found[PATH_MAX];
    const char *config = lm_arg(args, "config");
    if (config == NULL)
        config = lm_ini_default(found, sizeof found);
    int exit = lm_try_configure(t, config);
    if (exit == LM_EXIT_OK)
        exit = lm_try_take(t, args);
    for (size_t i = 0; i < t->n_decoders && exit == LM_EXIT_OK; i++)
        exit = run_decoder(t, &t->decoders[i]);
    if (exit != LM_EXIT_OK)
        return exit;
    const struct lm_try_decoder *best = best_of(t);
    if (lm_arg_given(args, "json"))
        lm_try_show_json(t, best);
    else
        lm_try_show(t, best);
    return best != NULL ? LM_EXIT_OK : LM_EXIT_FLAGGED;
}

int lm_try_run(const struct lm_args *args)
{
    struct lm_try *t = calloc(1, sizeof *t);
    if (t == NULL)
        return lm_fail(LM_EXIT_FAILED, NULL, "out of memory");
    int exit = try_all(t, args);
    free(t->bytes);
    free(t);
    return exit;
}
