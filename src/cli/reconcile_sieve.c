/* reconcile: the quick way for large files. What the sieve leaves goes through the plain one. */
#include "reconcile.h"

#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include "lugmark/regcsv.h"
#include "race/session_plain.h"

#define SMALL 262144 /* bytes of a register that the plain way has read before one would notice */

/* LUGMARK_WAY=plain or quick is for checks: both must say the same. */
static bool wanted(const struct lm_args *args)
{
    static const char *const only_plain[] = {"sightings", "events", "lot", "stock", "explain"};
    const char *way = getenv("LUGMARK_WAY"), *path = lm_arg(args, "register");
    struct stat st;
    if (way != NULL && strcmp(way, "plain") == 0)
        return false;
    for (size_t i = 0; i < sizeof only_plain / sizeof *only_plain; i++)
        if (lm_arg_given(args, only_plain[i]))
            return false;
    if (lm_arg(args, "readings") == NULL || stat(path, &st) != 0 || !S_ISREG(st.st_mode))
        return false;
    return st.st_size > SMALL || (way != NULL && strcmp(way, "quick") == 0);
}

static enum lm_err into_roll(const struct lm_record *rec, long line, void *ctx)
{
    struct lm_reconcile *r = ctx;
    (void) line;
    return lm_roll_put(r->roll, rec, NULL);
}

static void make_room(uint32_t animals, uint32_t devices, void *ctx)
{
    struct lm_reconcile *r = ctx;
    lm_roll_load_begin(r->roll, animals, devices);
}

/* Its line would be that of the rest: the plain way says it, with the line of the file. */
static void unsure(const struct lm_problem *p, void *ctx)
{
    struct lm_reconcile *r = ctx;
    (void) p;
    r->unsure = true;
}

static bool load_rest(struct lm_reconcile *r, int *exit)
{
    struct lm_regcsv_hooks hooks = {
        .begin = make_room, .record = into_roll, .problem = unsure, .ctx = r, .lenient = true};
    FILE *in = lm_sieve_register(r->sieve);
    if (in == NULL)
        return false;
    enum lm_err err = lm_regcsv_read(in, "", &hooks);
    fclose(in);
    if (r->unsure)
        return false; /* before the first animal was loaded */
    if (err == LM_OK)
        err = lm_roll_load_end(r->roll);
    if (err != LM_OK)
        *exit = lm_fail(LM_EXIT_FAILED, NULL, "%s", lm_err_str(err));
    return true;
}

bool lm_reconcile_sieve(struct lm_reconcile *r, int *exit)
{
    if (!wanted(r->args))
        return false;
    r->sieve = lm_sieve_files(
        lm_arg(r->args, "register"), lm_arg(r->args, "readings"), lm_arg(r->args, "mob"));
    if (r->sieve == NULL)
        return false;
    if (load_rest(r, exit))
        return true;
    lm_sieve_free(r->sieve);
    r->sieve = NULL;
    return false;
}

int lm_reconcile_sieved(struct lm_reconcile *r)
{
    struct lm_event *ev = calloc(1, sizeof *ev);
    enum lm_err err = ev != NULL ? LM_OK : LM_ENOMEM;
    while (err == LM_OK && lm_sieve_next(r->sieve, ev))
        err = lm_session_apply(r->session, ev, NULL);
    free(ev);
    if (err != LM_OK)
        return lm_fail(LM_EXIT_FAILED, NULL, "%s", lm_err_str(err));
    lm_session_went_by(r->session, lm_sieve_through(r->sieve));
    return LM_EXIT_OK;
}
