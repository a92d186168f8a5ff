/*
 * Making a yearly count from the register: which sessions, the book, and closing it.
 */
#include "lugmark/inventory.h"
#include "lugmark/report.h"

#include <inttypes.h>
#include <stdlib.h>
#include <string.h>

#define SETTING_SIZE (LM_NAME_MAX + 8)

struct listing {
    struct lm_inventory *inv;
    size_t cap;
    char others[200]; /**< names of other counts */
};

static void note_name(struct listing *l, const char *name)
{
    char quoted[LM_NAME_MAX + 4];
    size_t used = strlen(l->others);
    snprintf(quoted, sizeof quoted, "\"%s\"", name);
    if (name[0] == '\0' || strstr(l->others, quoted) != NULL)
        return;
    if (used + strlen(quoted) + 3 < sizeof l->others)
        snprintf(l->others + used, sizeof l->others - used, "%s%s", used ? ", " : "", quoted);
}

static enum lm_err take_row(const struct lm_store_session *row, void *ctx)
{
    struct listing *l = ctx;
    struct lm_inventory *inv = l->inv;
    if (strcmp(row->open.count, inv->name) != 0) {
        note_name(l, row->open.count);
        return LM_OK;
    }
    if (row->first_seq > inv->seq)
        return LM_OK;
    if (inv->n_sessions == l->cap) {
        size_t cap = l->cap ? l->cap * 2 : 8;
        void *more = realloc(inv->sessions, cap * sizeof *inv->sessions);
        if (!more)
            return LM_ENOMEM;
        inv->sessions = more;
        l->cap = cap;
    }
    inv->running |= row->last_seq == 0;
    inv->sessions[inv->n_sessions++] =
        (struct lm_inventory_session){.row = *row, .day = lm_day_of(row->opened_ms, 0)};
    return LM_OK;
}

static void setting_key(const char *name, char out[SETTING_SIZE])
{
    snprintf(out, SETTING_SIZE, "count:%s", name);
}

/** What closing recorded; without it the count is made from everything there is. */
static enum lm_err take_closing(struct lm_store *store, struct lm_inventory *inv)
{
    char key[SETTING_SIZE], value[128], date[16] = "", time[32] = "";
    int64_t seq = 0;
    setting_key(inv->name, key);
    enum lm_err err = lm_store_setting(store, key, value, sizeof value);
    inv->seq = lm_store_last_seq(store);
    inv->closed_ms = LM_TIME_NONE;
    if (err != LM_OK ||
        sscanf(value, "cutoff=%15s seq=%18" SCNd64 " closed=%31s", date, &seq, time) != 3)
        return err;
    if (lm_date_parse(date, strlen(date), &inv->cutoff) == LM_OK &&
        lm_time_parse(time, strlen(time), &inv->closed_ms) == LM_OK)
        inv->seq = seq;
    return LM_OK;
}

static bool same_date(struct lm_date a, struct lm_date b)
{
    return a.year == b.year && a.month == b.month && a.day == b.day;
}

static enum lm_err find_sessions(
    struct lm_store *store, struct lm_date cutoff, struct lm_inventory *inv, struct lm_problem *p)
{
    struct listing l = {.inv = inv};
    char date[LM_DATE_TEXT_SIZE], mend[LM_PROBLEM_TEXT_MAX];
    enum lm_err err = take_closing(store, inv);
    err = err ? err : lm_store_sessions(store, take_row, &l);
    if (err != LM_OK)
        return err;
    if (inv->n_sessions == 0) {
        snprintf(mend, sizeof mend, "%s%s",
            l.others[0] ? "the counts are " : "open one with lugmark open count --count NAME",
            l.others);
        return lm_problem_set(
            p, LM_EINPUT, mend, "no session belongs to a count called \"%s\"", inv->name);
    }
    if (inv->closed_ms != LM_TIME_NONE) {
        if (cutoff.year != 0 && !same_date(cutoff, inv->cutoff))
            return lm_problem_set(p, LM_EINPUT,
                "leave --cutoff out, or count again by another name",
                "the count \"%s\" was closed with the cut-off %s", inv->name,
                lm_date_format(inv->cutoff, date));
        return LM_OK;
    }
    inv->cutoff = cutoff;
    if (cutoff.year == 0) {
        int32_t last = inv->sessions[0].day;
        for (size_t i = 1; i < inv->n_sessions; i++)
            last = inv->sessions[i].day > last ? inv->sessions[i].day : last;
        inv->cutoff = lm_date_of_day(last);
    }
    return LM_OK;
}

static enum lm_err take_session(
    struct lm_store *store, struct lm_inventory *inv, struct lm_inventory_session *one)
{
    struct lm_replay replay;
    enum lm_err err = lm_replay_session(store, &one->row, NULL, &replay);
    if (err != LM_OK)
        return err;
    lm_session_tally(replay.session, &one->sum);
    err = lm_count_session(inv->count, replay.session, one->day);
    if (err == LM_OK)
        err = lm_estimates_session(inv->estimates, store, &one->row, replay.session);
    lm_replay_free(&replay);
    return err;
}

enum lm_err lm_inventory_make(struct lm_store *store, const char *name, struct lm_date cutoff,
    struct lm_inventory *out, struct lm_problem *p)
{
    memset(out, 0, sizeof *out);
    snprintf(out->name, sizeof out->name, "%s", name);
    enum lm_err err = find_sessions(store, cutoff, out, p);
    if (err == LM_OK)
        err = lm_book_load(store, out->seq, NULL, NULL, &out->book);
    if (err == LM_OK) {
        out->count = lm_count_new(out->book.roll, out->book.stays, lm_date_days(out->cutoff, 1));
        out->estimates = lm_estimates_new();
        err = out->count && out->estimates ? LM_OK : LM_ENOMEM;
    }
    for (size_t i = 0; i < out->n_sessions && err == LM_OK; i++)
        err = take_session(store, out, &out->sessions[i]);
    if (err == LM_OK)
        err = lm_count_result(out->count, &out->figures, NULL, NULL);
    if (err != LM_OK) {
        if (p->what[0] == '\0' && err == LM_ENOMEM)
            lm_problem_set(p, err, NULL, "out of memory");
        else if (p->what[0] == '\0')
            *p = *lm_store_problem(store);
        lm_inventory_free(out);
    }
    return err;
}

void lm_inventory_free(struct lm_inventory *inv)
{
    lm_count_free(inv->count);
    lm_estimates_free(inv->estimates);
    lm_book_free(&inv->book);
    free(inv->sessions);
    memset(inv, 0, sizeof *inv);
}

enum lm_err lm_inventory_close(
    struct lm_store *store, struct lm_inventory *inv, int64_t t_ms, struct lm_problem *p)
{
    char key[SETTING_SIZE], value[128], date[LM_DATE_TEXT_SIZE], time[LM_TIME_TEXT_SIZE];
    if (inv->closed_ms != LM_TIME_NONE)
        return lm_problem_set(p, LM_EINPUT, "count again by another name",
            "the count \"%s\" was closed %s", inv->name, lm_time_format(inv->closed_ms, time));
    if (inv->running)
        return lm_problem_set(p, LM_EINPUT, "end it first: lugmark close",
            "a session of the count \"%s\" is still open", inv->name);
    snprintf(value, sizeof value, "cutoff=%s seq=%" PRId64 " closed=%s",
        lm_date_format(inv->cutoff, date), inv->seq, lm_time_format(t_ms, time));
    setting_key(inv->name, key);
    enum lm_err err = lm_store_set(store, key, value);
    if (err != LM_OK) {
        *p = *lm_store_problem(store);
        return err;
    }
    inv->closed_ms = t_ms;
    return LM_OK;
}
