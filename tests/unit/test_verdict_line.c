/* Verdicts written straight say byte for byte what the plain way says. */
#include "daemon/verdict_line.h"

#include "daemon/publish.h"
#include "daemon/verdict_json.h"
#include "flock.h"

#include <stdlib.h>

static uint32_t next(uint32_t *seed)
{
    *seed = *seed * 1664525u + 1013904223u;
    return *seed >> 8;
}

static const char *const names[] = {"", "0417", "0998", "417", "a \"quoted\" one", "back\\slash",
    "M\xc3\xbcller", "\xe2\x82\xac 5", "tab\there", "bad \xff byte", "17", "slash / and <tag>",
    "del\x7f"};
#define NAMES (sizeof names / sizeof names[0])

static const char *name(uint32_t *seed)
{
    return names[next(seed) % NAMES];
}

/* An animal with up to five devices, some of them gone, some with the same
 * number. */
static void put_animal(struct lm_roll *roll, unsigned i, uint32_t *seed)
{
    char key[16];
    snprintf(key, sizeof key, i % 7 == 0 ? "A\"%u" : "A%u", i);
    struct lm_record rec = animal_of(key, i, name(seed));
    rec.n_devices = (uint8_t) (next(seed) % 6);
    for (uint32_t k = 0; k < rec.n_devices; k++) {
        struct lm_device *d = &rec.devices[k];
        snprintf(d->visual, sizeof d->visual, "%s", name(seed));
        snprintf(d->colour, sizeof d->colour, "%s", name(seed));
        d->place = (enum lm_place)(next(seed) % 4);
        d->form = (enum lm_device_form)(next(seed) % 4);
        if (next(seed) % 4 == 0) {
            d->removed = (struct lm_date){2020, 1, 1};
        }
    }
    snprintf(rec.mob, sizeof rec.mob, "%s", name(seed));
    rec.sex = (enum lm_sex)(next(seed) % 3);
    put(roll, rec);
}

static void any_event(struct lm_event *ev, uint32_t *seed)
{
    static const int64_t times[] = {LM_TIME_NONE, 0, -1, 1, 1767225599999, 253402300799999,
        253402300800000, -62135596800001, INT64_MAX, 951782400000};
    *ev = reading_at(1000 + (long) (next(seed) % 900000), "1", (struct lm_eid){0});
    ev->kind = next(seed) % 3 == 0 ? LM_EVENT_SIGHTING : LM_EVENT_READING;
    ev->seq = (int64_t) next(seed) * (next(seed) % 2 == 0 ? 1 : 1000000007);
    ev->t_ms = next(seed) % 2 == 0 ? times[next(seed) % 10] : (int64_t) next(seed) * 100003;
    snprintf(ev->lane, sizeof ev->lane, "%s", name(seed));
    snprintf(ev->reader, sizeof ev->reader, "%s", name(seed));
    ev->eid.known = (uint8_t) (next(seed) % 4);
    ev->eid.bits = (uint64_t) next(seed) << (next(seed) % 40);
    if (next(seed) % 2 == 0) {
        ev->eid = eid_of(next(seed) % 60 + 1);
    }
    ev->doubt = (enum lm_doubt)(next(seed) % 4);
    snprintf(ev->text, sizeof ev->text, "%s", name(seed));
}

static void any_verdict(struct lm_verdict *v, const struct lm_roll *roll, uint32_t *seed)
{
    *v = (struct lm_verdict){.animal = LM_NO_ANIMAL};
    if (next(seed) % 3 != 0) {
        v->animal = next(seed) % lm_roll_animals(roll);
    }
    v->attention = (enum lm_attention)(next(seed) % 3);
    v->reasons =
        next(seed) % 2 == 0 ? 0 : next(seed) & ((1u << (LM_REASONS < 20 ? LM_REASONS : 20)) - 1u);
    v->repeat = next(seed) % 2 == 0;
    if (next(seed) % 3 == 0) {
        v->eid = eid_of(next(seed) % 60 + 1);
    }
}

/* @return whether it was written straight. */
static bool same(const struct lm_session *s, const struct lm_event *ev, const struct lm_verdict *v,
    const char *should)
{
    char line[VERDICT_LINE_MAX];
    size_t len = verdict_line(s, ev, v, should, line), want_len = 0;
    if (len == 0) {
        return false;
    }
    json_t *object = verdict_json(s, ev, v);
    assert_non_null(object);
    assert_int_equal(json_object_set_new(object, "should", json_string(should)), 0);
    char *want = publish_line(object, &want_len);
    json_decref(object);
    assert_non_null(want);
    assert_string_equal(line, want);
    assert_int_equal(len, want_len);
    free(want);
    return true;
}

static void many_verdicts_are_the_same(void **state)
{
    struct lm_roll *roll = lm_roll_new();
    uint32_t seed = 7;
    unsigned straight = 0, count = 20000;
    (void) state;
    for (unsigned i = 1; i <= 2000; i++) {
        put_animal(roll, i, &seed);
    }
    struct lm_session *s = lm_session_new(roll, NULL);
    assert_non_null(s);
    for (unsigned i = 0; i < count; i++) {
        struct lm_event ev;
        struct lm_verdict v;
        any_event(&ev, &seed);
        any_verdict(&v, roll, &seed);
        straight += same(s, &ev, &v, name(&seed));
    }
    /* Enough of both: most are clean, some hold what only the plain way may
     * judge. */
    assert_in_range(straight, count / 10, count - count / 10);
    lm_session_free(s);
    lm_roll_free(roll);
}

static void what_does_not_fit_is_left_alone(void **state)
{
    struct lm_roll *roll = lm_roll_new();
    struct lm_record rec = animal_of("A1", 1, "x");
    char line[VERDICT_LINE_MAX];
    (void) state;
    rec.n_devices = LM_DEVICES_MAX;
    for (unsigned k = 0; k < LM_DEVICES_MAX; k++) {
        memset(rec.devices[k].visual, '"', LM_VISUAL_MAX - 4);
        snprintf(rec.devices[k].visual + LM_VISUAL_MAX - 4, 4, "%u", k);
    }
    put(roll, rec);
    struct lm_session *s = lm_session_new(roll, NULL);
    struct lm_event ev = reading_at(1000, "1", eid_of(1));
    struct lm_verdict v = {.animal = 0};
    assert_int_equal(verdict_line(s, &ev, &v, "", line), 0);
    assert_int_equal(line[0], '\0');
    v.animal = LM_NO_ANIMAL;
    assert_true(same(s, &ev, &v, ""));
    ev.kind = LM_EVENT_HEADS;
    assert_int_equal(verdict_line(s, &ev, &v, "", line), 0);
    lm_session_free(s);
    lm_roll_free(roll);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(many_verdicts_are_the_same),
        cmocka_unit_test(what_does_not_fit_is_left_alone),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
