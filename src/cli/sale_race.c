/* A session at the race, folded again: who came, in which order, and what was odd. */
#include "sale.h"

#include <stdlib.h>
#include <string.h>

#include "lugmark/session.h"
#include "open_db.h"
#include "problem.h"

/* Who came, by index of the session's roll; and marks that nobody had then. */
struct fold {
    struct lm_roll *roll;
    struct lm_session *session;
    const struct lm_roll *now;
    struct lm_sale_race *race;
    uint32_t *of_animal; /* animal -> place in race->came + 1 */
    size_t room;
};

static enum lm_err grow(void **rows, size_t *room, size_t used, size_t size)
{
    if (used < *room)
        return LM_OK;
    size_t bigger = *room > 0 ? *room * 2 : 256;
    void *more = realloc(*rows, bigger * size);
    if (more == NULL)
        return LM_ENOMEM;
    *rows = more;
    *room = bigger;
    return LM_OK;
}

static enum lm_err add_came(struct lm_sale_race *race, struct lm_sale_came **out)
{
    void *rows = race->came;
    enum lm_err err = grow(&rows, &race->room_came, race->n_came, sizeof *race->came);
    race->came = rows;
    if (err != LM_OK)
        return err;
    *out = &race->came[race->n_came++];
    memset(*out, 0, sizeof **out);
    return LM_OK;
}

/* Room for every animal of the roll, which a register change may have made larger. */
static enum lm_err fit(struct fold *f)
{
    size_t n = lm_roll_animals(f->roll);
    if (n <= f->room)
        return LM_OK;
    uint32_t *more = realloc(f->of_animal, 2 * n * sizeof *more);
    if (more == NULL)
        return LM_ENOMEM;
    memset(more + f->room, 0, (2 * n - f->room) * sizeof *more);
    f->of_animal = more;
    f->room = 2 * n;
    return LM_OK;
}

static enum lm_err came_known(struct fold *f, uint32_t animal, const struct lm_event *ev)
{
    struct lm_sale_came *c = NULL;
    enum lm_err err = fit(f);
    if (err != LM_OK)
        return err;
    uint32_t place = f->of_animal[animal];
    if (place > 0) {
        c = &f->race->came[place - 1];
    } else {
        err = add_came(f->race, &c);
        if (err != LM_OK)
            return err;
        f->of_animal[animal] = (uint32_t) f->race->n_came;
        snprintf(c->key, sizeof c->key, "%s", lm_roll_animal(f->roll, animal).key);
        c->t_ms = ev->t_ms;
    }
    c->read = c->read || ev->kind == LM_EVENT_READING;
    return LM_OK;
}

static enum lm_err came_unknown(struct fold *f, const struct lm_event *ev)
{
    struct lm_sale_came *c = NULL;
    bool reading = ev->kind == LM_EVENT_READING;
    if (reading && ev->doubt != LM_DOUBT_NONE)
        return LM_OK;
    enum lm_err err = add_came(f->race, &c);
    if (err != LM_OK)
        return err;
    c->t_ms = ev->t_ms;
    c->read = reading;
    c->eid = reading ? ev->eid : (struct lm_eid){0};
    if (!reading)
        memcpy(c->called, ev->text, sizeof c->called);
    return LM_OK;
}

/* An undone call takes the animal back, if nothing else made it present. */
static void take_back(struct fold *f)
{
    uint32_t n = lm_roll_animals(f->roll);
    for (uint32_t i = 0; i < n && i < f->room; i++)
        if (f->of_animal[i] > 0 && !lm_session_seen(f->session, i)) {
            f->race->came[f->of_animal[i] - 1].key[0] = '\0';
            f->of_animal[i] = 0;
        }
}

static enum lm_err on_event(const struct lm_event *ev, void *ctx)
{
    struct fold *f = ctx;
    struct lm_verdict v = {.animal = LM_NO_ANIMAL};
    enum lm_err err = lm_session_apply(f->session, ev, &v);
    if (err == LM_EARG)
        return LM_OK; /* what makes no sense was passed over live, too */
    if (err != LM_OK)
        return err;
    if (ev->kind == LM_EVENT_UNDO)
        take_back(f);
    if (ev->kind != LM_EVENT_READING && ev->kind != LM_EVENT_SIGHTING)
        return LM_OK;
    if (v.animal != LM_NO_ANIMAL && lm_session_seen(f->session, v.animal))
        return came_known(f, v.animal, ev);
    return v.animal == LM_NO_ANIMAL ? came_unknown(f, ev) : LM_OK;
}

static enum lm_err put_record(const struct lm_record *rec, long line, void *ctx)
{
    (void) line;
    return lm_roll_put(ctx, rec, NULL);
}

/* --- what the session flagged --- */

struct flags {
    struct lm_sale_race *race;
    const struct lm_roll *roll;
    enum lm_err err;
};

static void on_finding(const struct lm_finding *finding, void *ctx)
{
    struct flags *fl = ctx;
    struct lm_sale_race *race = fl->race;
    void *rows = race->flags;
    char eid[LM_EID_TEXT_SIZE];
    if (fl->err == LM_OK)
        fl->err = grow(&rows, &race->room_flags, race->n_flags, sizeof *race->flags);
    race->flags = rows;
    if (fl->err != LM_OK)
        return;
    struct lm_sale_flag *flag = &race->flags[race->n_flags++];
    memset(flag, 0, sizeof *flag);
    flag->reason = finding->reason;
    flag->attention = finding->attention;
    if (finding->animal != LM_NO_ANIMAL)
        snprintf(flag->key, sizeof flag->key, "%s", lm_roll_animal(fl->roll, finding->animal).key);
    snprintf(flag->what, sizeof flag->what, "%s",
        finding->text != NULL ? finding->text : lm_eid_format(finding->eid, eid));
}

/* The roll of the session: who was expected. */
static enum lm_err take_expected(const struct lm_roll *roll, struct lm_sale_race *race)
{
    uint32_t n = lm_roll_animals(roll);
    race->expected = calloc(n > 0 ? n : 1, sizeof *race->expected);
    if (race->expected == NULL)
        return LM_ENOMEM;
    for (uint32_t i = 0; i < n; i++) {
        struct lm_roll_animal a = lm_roll_animal(roll, i);
        if (a.expected)
            snprintf(race->expected[race->n_expected++], sizeof *race->expected, "%s", a.key);
    }
    return LM_OK;
}

/* --- marks that nobody had then, looked up as the register stands now --- */

static bool wearer(const struct lm_roll *roll, const struct lm_sale_came *c, uint32_t *animal)
{
    struct lm_roll_hits it;
    struct lm_roll_device d;
    bool code = c->eid.known != LM_EID_NONE, found = false;
    bool more = code ? lm_roll_code_first(roll, c->eid, &it, &d)
                     : lm_roll_visual_first(roll, c->called, &it, &d);
    for (; more;
         more = code ? lm_roll_code_next(roll, &it, &d) : lm_roll_visual_next(roll, &it, &d)) {
        if (d.gone)
            continue;
        if (found && d.animal != *animal)
            return false;
        *animal = d.animal;
        found = true;
    }
    return found;
}

static void look_again(struct fold *f)
{
    for (size_t i = 0; i < f->race->n_came; i++) {
        struct lm_sale_came *c = &f->race->came[i];
        uint32_t animal;
        bool nobody = c->key[0] == '\0' && (c->eid.known != LM_EID_NONE || c->called[0] != '\0');
        if (nobody && wearer(f->now, c, &animal))
            snprintf(c->key, sizeof c->key, "%s", lm_roll_animal(f->now, animal).key);
    }
}

static enum lm_err fold_it(struct lm_store *store, const struct lm_store_session *s, struct fold *f)
{
    enum lm_err err = lm_store_each_at(store, s->first_seq, put_record, f->roll);
    if (err != LM_OK)
        return err;
    f->session = lm_session_new(f->roll, NULL);
    if (f->session == NULL)
        return LM_ENOMEM;
    err = lm_store_events(store, s->id, 0, on_event, f);
    if (err != LM_OK)
        return err;
    struct lm_summary summary;
    struct flags fl = {f->race, f->roll, LM_OK};
    err = lm_session_findings(f->session, &summary, on_finding, &fl);
    if (err == LM_OK)
        err = fl.err != LM_OK ? fl.err : take_expected(f->roll, f->race);
    f->race->has_heads = summary.has_heads;
    f->race->heads = summary.heads;
    look_again(f);
    return err;
}

int lm_sale_race_join(
    struct lm_store *store, int64_t id, const struct lm_roll *now, struct lm_sale_race *race)
{
    struct lm_store_session s = {0};
    enum lm_err err = lm_store_session(store, id, &s);
    if (err == LM_ENOTFOUND)
        return lm_fail(LM_EXIT_INPUT, "see the number with lugmark findings",
            "there is no session %lld", (long long) id);
    if (err != LM_OK)
        return lm_db_fail(store);
    race->id = s.id;
    race->joined = true;
    race->closed = s.closed_ms != LM_TIME_NONE;
    race->opened_ms = s.opened_ms;
    memcpy(race->lot, s.open.lot, sizeof race->lot);
    struct fold f = {.roll = lm_roll_new(), .now = now, .race = race};
    err = f.roll != NULL ? fold_it(store, &s, &f) : LM_ENOMEM;
    lm_session_free(f.session);
    lm_roll_free(f.roll);
    free(f.of_animal);
    if (err == LM_ENOMEM)
        return lm_fail(LM_EXIT_FAILED, NULL, "out of memory");
    return err == LM_OK ? LM_EXIT_OK : lm_db_fail(store);
}

void lm_sale_race_free(struct lm_sale_race *race)
{
    free(race->came);
    free(race->flags);
    free(race->expected);
    memset(race, 0, sizeof *race);
}
