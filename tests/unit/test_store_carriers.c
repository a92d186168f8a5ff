/* Who carries something, by the indexes: the same as a look at everybody. */
#include "store_help.h"
#include <strings.h>

#define FLOCK 120u

struct wanted {
    struct lm_carried what;
    char keys[4096];
};

static bool carries(const struct lm_carried *w, const struct lm_device *d)
{
    char fold[LM_VISUAL_MAX + 1];
    bool coded = w->eid.known == LM_EID_CODE || w->eid.known == LM_EID_FULL;
    if (d->gone != w->removed)
        return false;
    return (coded && d->eid.known && lm_eid_key(d->eid) == lm_eid_key(w->eid)) ||
           (w->fold[0] && lm_visual_fold(d->visual, fold) > 0 && !strcmp(fold, w->fold)) ||
           (w->uid[0] && strcasecmp(d->uid, w->uid) == 0);
}

static enum lm_err name(const struct lm_record *rec, long line, void *ctx)
{
    struct wanted *w = ctx;
    (void) line;
    size_t n = strlen(w->keys);
    snprintf(w->keys + n, sizeof w->keys - n, "%s ", rec->key);
    return LM_OK;
}

static enum lm_err name_if(const struct lm_record *rec, long line, void *ctx)
{
    struct wanted *w = ctx;
    bool hit = false;
    for (unsigned i = 0; i < rec->n_devices; i++)
        hit = hit || carries(&w->what, &rec->devices[i]);
    return hit ? name(rec, line, ctx) : LM_OK;
}

static void fill_flock(struct lm_store *s)
{
    for (unsigned i = 0; i < FLOCK; i++) {
        struct lm_record rec = {.n_devices = 2};
        snprintf(rec.key, sizeof rec.key, "K%03u", i);
        rec.struck = i % 17 == 5;
        for (unsigned k = 0; k < 2; k++) {
            struct lm_device *d = &rec.devices[k];
            d->gone = k == 0 && i % 3 == 0;
            /* of codes and chips only one of a kind is worn; numbers and old ones are shared */
            d->eid = i % 4 == 3 ? (struct lm_eid){0} : code(d->gone ? i % 9 : 1000 + 2 * i + k);
            snprintf(d->visual, sizeof d->visual, "%s%04u", i % 2 ? "" : "no ", (i + k) % 40);
            if (i % 5 == 0)
                snprintf(d->uid, sizeof d->uid, "04AB%04X", d->gone ? i % 7 : 256 + 2 * i + k);
        }
        put_ok(s, &rec);
    }
}

/* @return how many answers named somebody. */
static unsigned ask(struct lm_store *s, struct lm_eid eid, const char *text)
{
    unsigned hits = 0;
    for (unsigned removed = 0; removed < 2; removed++) {
        struct wanted got = {.what = {.eid = eid, .uid = text, .removed = removed}};
        lm_visual_fold(text, got.what.fold);
        struct wanted want = got;
        assert_int_equal(lm_store_carriers(s, &got.what, name, &got), LM_OK);
        assert_int_equal(lm_store_each(s, name_if, &want), LM_OK);
        assert_string_equal(got.keys, want.keys);
        hits += want.keys[0] != '\0';
    }
    return hits;
}

static void test_as_a_look_at_everybody(void **state)
{
    struct help *h = *state;
    char text[40];
    unsigned codes = 0, numbers = 0, chips = 0;
    fill_flock(h->s);
    for (unsigned i = 0; i < 300; i++)
        codes += ask(h->s, code(i < 20 ? i : 980 + i), "");
    for (unsigned i = 0; i < 50; i++) {
        snprintf(text, sizeof text, "%s%04u", i % 2 ? "" : "NO ", i);
        numbers += ask(h->s, (struct lm_eid){0}, text);
    }
    for (unsigned i = 0; i < 300; i++) {
        snprintf(text, sizeof text, i % 2 ? "04AB%04X" : "04ab%04x", i < 20 ? i : 236 + i);
        chips += ask(h->s, (struct lm_eid){0}, text);
    }
    if (codes < 100 || numbers < 20 || chips < 20)
        fail_msg("%u codes, %u numbers and %u chips say little", codes, numbers, chips);
    ask(h->s, (struct lm_eid){0}, "");
    ask(h->s, (struct lm_eid){.bits = 7, .known = LM_EID_UID}, "04AB0100");
    ask(h->s, code(1000), "7"); /* a code of one and the number of others */
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(test_as_a_look_at_everybody, help_setup, help_teardown),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
