/* Walking over the register and finding animals in it. */
#include "store_help.h"

struct seen {
    char keys[64][LM_NAME_MAX + 1];
    unsigned n, stop_at;
};

static enum lm_err note(const struct lm_record *rec, long line, void *ctx)
{
    struct seen *seen = ctx;
    assert_int_equal(line, 0);
    assert_true(seen->n < 64);
    snprintf(seen->keys[seen->n++], LM_NAME_MAX + 1, "%s", rec->key);
    return seen->stop_at != 0 && seen->n == seen->stop_at ? LM_ENOTFOUND : LM_OK;
}

static enum lm_err writes(const struct lm_record *rec, long line, void *ctx)
{
    struct lm_record more = *rec;
    (void) line;
    more.status = LM_DEAD;
    return lm_store_put(ctx, &more, T0, "", NULL);
}

static enum lm_err begins(const struct lm_record *rec, long line, void *ctx)
{
    (void) rec;
    (void) line;
    return lm_store_begin(ctx);
}

static void test_each(void **state)
{
    struct help *h = *state;
    struct seen seen = {.n = 0};
    assert_int_equal(lm_store_each(h->s, note, &seen), LM_OK);
    assert_int_equal(seen.n, 0);
    for (int i = 0; i < 20; i++) { /* some with devices, some without, some with several */
        struct lm_record rec = {.n_devices = (uint8_t) (i % 4)};
        snprintf(rec.key, sizeof rec.key, "K%02d", 99 - i);
        for (unsigned k = 0; k < rec.n_devices; k++)
            rec.devices[k].eid = code((uint64_t) (i * 10) + k + 1);
        put_ok(h->s, &rec);
    }
    assert_int_equal(lm_store_each(h->s, note, &seen), LM_OK);
    assert_int_equal(seen.n, 20);
    text_is(seen.keys[0], "K99", "first");
    text_is(seen.keys[19], "K80", "last");
    seen = (struct seen){.stop_at = 3};
    assert_int_equal(lm_store_each(h->s, note, &seen), LM_ENOTFOUND);
    assert_int_equal(seen.n, 3);
    assert_int_equal(lm_store_each(h->s, writes, h->s), LM_EARG);
    assert_int_equal(lm_store_each(h->s, begins, h->s), LM_EARG);
    assert_int_equal(lm_store_begin(h->s), LM_OK);
    assert_int_equal(lm_store_each(h->s, writes, h->s), LM_EARG);
    assert_int_equal(lm_store_commit(h->s), LM_OK);
    struct lm_record got;
    get_ok(h->s, "K99", &got);
    assert_int_equal(got.status, LM_ON_FARM);
}

static void find_is(struct help *h, const char *text, unsigned limit, const char *want)
{
    struct seen seen = {.n = 0};
    char got[64 * 8] = "";
    if (lm_store_find(h->s, text, limit, note, &seen) != LM_OK)
        fail_msg("find %s: %s", text, lm_store_problem(h->s)->what);
    for (unsigned i = 0; i < seen.n; i++)
        snprintf(got + strlen(got), sizeof got - strlen(got), "%s%s", i ? " " : "", seen.keys[i]);
    if (strcmp(got, want) != 0)
        fail_msg("find \"%s\" gave \"%s\", not \"%s\"", text, got, want);
}

static void test_find(void **state)
{
    struct help *h = *state;
    static const struct {
        const char *key;
        uint64_t national;
        const char *visual, *breed, *mob, *uid;
    } flock[] = {
        {"A1", 12345, "UK 0417", "Hill", "does", ""},
        {"A2", 417, "0099", "Hill%", "kids", "04AA417B"},
        {"417", 3, "0001", "Dale", "does", ""},
        {"A4", 4, "417", "Dale", "d_s", ""},
        {"a1x", 5, "0500", "", "", ""},
    };
    static const struct {
        const char *text;
        unsigned limit;
        const char *want;
    } cases[] = {
        {"417", 0, "417 A4 A1 A2"}, /* key, number worn, then parts: of a number, of a chip */
        {"417", 1, "417"},
        {"A1", 0, "A1 a1x"},
        {"a1", 0, "A1 a1x"},
        {"A1X", 0, "a1x"},
        {"999000000000417", 0, "A2"},
        {"999 000000000417", 0, "A2"},
        {"000000000417", 0, "A2"},
        {"uk0417", 0, "A1"},
        {"UK-0417", 0, "A1"},
        {"04aa417b", 0, "A2"},
        {"Hill%", 0, "A2"},
        {"hill", 0, "A1 A2"},
        {"d_s", 0, "A4"},
        {"doe", 0, "A1 417"},
        {"-", 0, ""},
        {"'; DROP TABLE animal; --", 0, ""},
        {"\\", 0, ""},
        {"", 2, "A1 A2"},
    };
    for (size_t i = 0; i < sizeof flock / sizeof flock[0]; i++) {
        struct lm_record rec = animal(flock[i].key, flock[i].national, flock[i].visual);
        snprintf(rec.breed, sizeof rec.breed, "%s", flock[i].breed);
        snprintf(rec.mob, sizeof rec.mob, "%s", flock[i].mob);
        snprintf(rec.devices[0].uid, sizeof rec.devices[0].uid, "%s", flock[i].uid);
        put_ok(h->s, &rec);
    }
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++)
        find_is(h, cases[i].text, cases[i].limit, cases[i].want);
    char hex[20]; /* whatever can be decoded is looked up as a code */
    snprintf(hex, sizeof hex, "%016llx", (unsigned long long) code(12345).bits);
    find_is(h, hex, 0, "A1");
    char longer[LM_VISUAL_MAX + 40];
    memset(longer, '4', sizeof longer - 1);
    longer[sizeof longer - 1] = '\0';
    find_is(h, longer, 0, "");
}

#define WITH(f) cmocka_unit_test_setup_teardown(f, help_setup, help_teardown)

int main(void)
{
    const struct CMUnitTest tests[] = {
        WITH(test_each),
        WITH(test_find),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
