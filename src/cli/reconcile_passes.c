/* reconcile: readings and sightings, in the order in which things happened. */
#include "reconcile.h"

#include <stdlib.h>

#include "readings.h"
#include "sightings.h"

#define AHEAD                                                                                      \
    16u /* readings parsed ahead, so that the roll's memory is there when they are due             \
         */

/* The next good row; bad ones are said, and the next may be bad too. */
static enum lm_err next_reading(
    struct lm_reconcile *r, struct lm_readings *readings, struct lm_event *ev)
{
    enum lm_err err;
    do {
        struct lm_problem p = {0};
        err = lm_readings_next(readings, ev, &p);
        if (err == LM_EINPUT || err == LM_EIO)
            lm_problems_add(&p, &r->problems);
    } while (err == LM_EINPUT);
    if (err == LM_OK)
        lm_roll_prefetch(r->roll, ev->eid);
    return err;
}

/* Apply a reading, with the sightings that belong before and after it. */
static enum lm_err one_reading(struct lm_reconcile *r, struct lm_readings *readings,
    struct lm_sightings *sightings, bool by_time, const struct lm_event *ev)
{
    enum lm_err err = LM_OK;
    if (by_time && ev->t_ms != LM_TIME_NONE)
        err = lm_sightings_before(sightings, ev->t_ms, lm_reconcile_apply, r);
    if (err == LM_OK)
        err = lm_reconcile_apply(ev, readings->table.lines.name, readings->table.lines.line, r);
    if (err == LM_OK && by_time)
        err = lm_sightings_after(sightings, ev->eid, lm_reconcile_apply, r);
    return err;
}

static enum lm_err all_readings(
    struct lm_reconcile *r, struct lm_readings *readings, struct lm_sightings *sightings)
{
    struct lm_event *ring = calloc(AHEAD, sizeof *ring);
    bool by_time = sightings != NULL && readings->timed && lm_sightings_timed(sightings);
    unsigned long in = 0, out = 0;
    enum lm_err err = ring != NULL ? LM_OK : LM_ENOMEM, end = err;
    while (err == LM_OK) {
        if (end == LM_OK && in - out < AHEAD) {
            ring[in % AHEAD].kind = LM_EVENT_READING;
            end = next_reading(r, readings, &ring[in % AHEAD]);
            in += end == LM_OK;
            continue;
        }
        if (in == out)
            break;
        err = one_reading(r, readings, sightings, by_time, &ring[out++ % AHEAD]);
    }
    free(ring);
    err = err != LM_OK ? err : end;
    return err == LM_EAGAIN ? LM_OK : err;
}

static enum lm_err read_readings(
    struct lm_reconcile *r, FILE *in, const char *name, struct lm_sightings *sightings)
{
    struct lm_problem p = {0};
    struct lm_readings *readings = calloc(1, sizeof *readings);
    if (readings == NULL)
        return LM_ENOMEM;
    enum lm_err err = lm_readings_begin(readings, in, name, &p);
    if (err != LM_OK)
        lm_problems_add(&p, &r->problems);
    else
        err = all_readings(r, readings, sightings);
    lm_readings_end(readings);
    free(readings);
    return err;
}

static int outcome(const struct lm_reconcile *r, enum lm_err err)
{
    if (err == LM_OK || err == LM_EINPUT)
        return LM_EXIT_OK; /* the problems are counted */
    if (err == LM_EIO && r->problems.count > 0)
        return LM_EXIT_FAILED;
    return lm_fail(LM_EXIT_FAILED, NULL, "%s", lm_err_str(err));
}

static int with_sightings(struct lm_reconcile *r, struct lm_sightings *sightings)
{
    const char *path = lm_arg(r->args, "readings"), *name;
    enum lm_err err = LM_OK;
    if (path != NULL) {
        FILE *in = lm_reconcile_file(path, &name);
        if (in == NULL)
            return LM_EXIT_INPUT;
        err = read_readings(r, in, name, sightings);
        lm_reconcile_file_close(in);
    }
    if (err == LM_OK && sightings != NULL)
        err = lm_sightings_rest(sightings, lm_reconcile_apply, r);
    return outcome(r, err);
}

int lm_reconcile_passes(struct lm_reconcile *r)
{
    const char *path = lm_arg(r->args, "sightings"), *name;
    if (r->sieve != NULL)
        return lm_reconcile_sieved(r);
    if (path == NULL)
        return with_sightings(r, NULL);
    FILE *in = lm_reconcile_file(path, &name);
    if (in == NULL)
        return LM_EXIT_INPUT;
    unsigned long before = r->problems.count;
    struct lm_sightings *sightings = lm_sightings_read(in, name, &r->problems);
    lm_reconcile_file_close(in);
    if (sightings == NULL && r->problems.count == before)
        return LM_EXIT_FAILED;
    int exit = with_sightings(r, sightings); /* without them too: the readings may be bad as well */
    lm_sightings_free(sightings);
    return exit;
}
