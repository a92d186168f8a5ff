/* An animal as JSON: exact both ways, strict on the way in. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <stdlib.h>

#include "lugmark/eventline.h"
#include "random_record.h"

static void comes_back_the_same(void **state)
{
    struct dice dice = {0x9e3779b97f4a7c15};
    static struct lm_record before, after;

    (void) state;
    for (unsigned i = 0; i < 3000; i++) {
        struct lm_problem p = {0};
        char *text;
        const char *field;

        random_record(&dice, i, &before);
        for (unsigned k = 0; k < before.n_devices; k++)
            before.devices[k].id = roll(&dice, 3) ? (int64_t) (roll64(&dice) >> 1) : 0;
        text = lm_record_json(&before);
        assert_non_null(text);
        memset(&after, 0xAA, sizeof after);
        if (lm_record_from_json(text, strlen(text), &after, &p))
            fail_msg("refused: %s: %s", p.what, text);
        field = record_difference(&before, &after);
        if (field)
            fail_msg("%s came back changed: %s", field, text);
        free(text);
    }
}

static void leaves_empty_fields_out(void **state)
{
    static struct lm_record rec;
    char *text;

    (void) state;
    snprintf(rec.key, sizeof rec.key, "A17");
    rec.n_devices = 1;
    lm_eid_make(999, 12345, &rec.devices[0].eid);
    snprintf(rec.devices[0].visual, sizeof rec.devices[0].visual, "0417");
    text = lm_record_json(&rec);
    assert_string_equal(text, "{\"animal\":\"A17\",\"status\":\"on-farm\",\"devices\":["
                              "{\"eid\":\"999000000012345\",\"visual\":\"0417\"}]}");
    free(text);
}

static void writes_64_bits_as_hex(void **state)
{
    static struct lm_record rec;
    char *text;

    (void) state;
    snprintf(rec.key, sizeof rec.key, "A");
    rec.n_devices = 2;
    rec.devices[0].eid = lm_eid_from_bits(UINT64_C(0x9000F9C000003039));
    rec.devices[1].eid = lm_eid_from_bits(UINT64_C(0x8000001234567890));
    text = lm_record_json(&rec);
    assert_non_null(strstr(text, "\"9000F9C000003039\""));
    assert_non_null(strstr(text, "\"0x8000001234567890\""));
    free(text);
}

/* A code of an impossible country has 16 digits, which the decoder leaves to a person. */
static void keeps_impossible_countries(void **state)
{
    static struct lm_record before, after;
    char *text;

    (void) state;
    snprintf(before.key, sizeof before.key, "A");
    before.n_devices = 1;
    assert_int_equal(lm_eid_make(1001, 5, &before.devices[0].eid), LM_OK);
    text = lm_record_json(&before);
    assert_int_equal(lm_record_from_json(text, strlen(text), &after, NULL), LM_OK);
    assert_null(record_difference(&before, &after));
    free(text);
}

static void a_removal_date_means_gone(void **state)
{
    static const char text[] = "{\"animal\":\"A\",\"devices\":[{\"removed\":\"2026-03\"},{}]}";
    static struct lm_record rec;

    (void) state;
    assert_int_equal(lm_record_from_json(text, sizeof text - 1, &rec, NULL), LM_OK);
    assert_true(rec.devices[0].gone);
    assert_false(rec.devices[1].gone);
}

#define SEVEN "{},{},{},{},{},{},{}"
#define FORTY_NINE SEVEN "," SEVEN "," SEVEN "," SEVEN "," SEVEN "," SEVEN "," SEVEN

static const struct {
    const char *json, *what, *mend;
    long column;
} refused[] = {
    {"{}", "no name", "\"animal\"", 0},
    {"[1]", "not a JSON object", "{", 0},
    {"", "nothing is there", "", 0},
    {"{\"animal\":\"A\"", "not JSON", "", 13},
    {"{\"animal\":\"A\",\"animal\":\"B\"}", "duplicate", "", 22},
    {"{\"animal\":17}", "animal: must be text, not a JSON number", "quotes", 2},
    {"{\"animal\":[]}", "animal: must be text", "", 2},
    {"{\"animal\":\"A\",\"sex\":\"hen\"}", "sex: not a known word: hen", "female", 15},
    {"{\"animal\":\"A\",\"status\":\"gone\"}", "status: not a known word", "on-farm", 15},
    {"{\"animal\":\"A\",\"castrated\":1}", "castrated: not true or false", "true", 15},
    {"{\"animal\":\"A\",\"born\":\"28.3.2026\"}", "born: not a date: 28.3.2026", "2026-03-28", 15},
    {"{\"animal\":\"A\",\"born\":\"2026-02-30\"}", "born: not a date", "", 15},
    {"{\"animal\":\"A\\u0007\"}", "control character", "", 2},
    {"{\"animal\":\"A\\u0000\"}", "not JSON", "", 0},
    {"{\"animal\":\"A\",\"devices\":{}}", "devices: not a list", "[", 15},
    {"{\"animal\":\"A\",\"devices\":[1]}", "device 1: not a JSON object", "", 0},
    {"{\"animal\":\"A\",\"devices\":[{},{\"eid\":999000000012345}]}", "device 2: eid: must be text",
        "quotes", 0},
    {"{\"animal\":\"A\",\"devices\":[{\"eid\":\"9.99E+14\"}]}", "device 1: eid: ", "", 0},
    {"{\"animal\":\"A\",\"devices\":[{\"form\":\"sticker\"}]}", "form: not a known word", "bolus",
        0},
    {"{\"animal\":\"A\",\"devices\":[{\"place\":\"nose\"}]}", "place: not a known word", "rumen",
        0},
    {"{\"animal\":\"A\",\"devices\":[{\"uid\":\"xyz\"}]}", "uid: not hex", "hex", 0},
    {"{\"animal\":\"A\",\"devices\":[{\"id\":1.5}]}", "id: not a whole number", "", 0},
    {"{\"animal\":\"A\",\"devices\":[{\"id\":-1}]}", "id: must be from 0", "", 0},
    {"{\"animal\":\"A\",\"devices\":[" FORTY_NINE "]}", "49 devices", "", 15},
};

static void refuses_by_name(void **state)
{
    static struct lm_record rec;

    (void) state;
    for (unsigned i = 0; i < sizeof refused / sizeof refused[0]; i++) {
        struct lm_problem p = {0};
        const char *json = refused[i].json;

        if (lm_record_from_json(json, strlen(json), &rec, &p) != LM_EINPUT)
            fail_msg("taken: %s", json);
        assert_int_equal(p.err, LM_EINPUT);
        if (!strstr(p.what, refused[i].what) || !strstr(p.mend, refused[i].mend))
            fail_msg("%s: said \"%s\", to mend \"%s\"", json, p.what, p.mend);
        if (refused[i].column && p.column != refused[i].column)
            fail_msg("%s: column %ld", json, p.column);
        assert_int_equal(lm_record_from_json(json, strlen(json), &rec, NULL), LM_EINPUT);
    }
}

static void refuses_names_that_are_too_long(void **state)
{
    static struct lm_record rec;
    char json[200];

    (void) state;
    snprintf(json, sizeof json, "{\"animal\":\"%063d\"}", 1);
    assert_int_equal(lm_record_from_json(json, strlen(json), &rec, NULL), LM_OK);
    snprintf(json, sizeof json, "{\"animal\":\"%064d\"}", 1);
    assert_int_equal(lm_record_from_json(json, strlen(json), &rec, NULL), LM_EINPUT);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(comes_back_the_same),
        cmocka_unit_test(leaves_empty_fields_out),
        cmocka_unit_test(writes_64_bits_as_hex),
        cmocka_unit_test(keeps_impossible_countries),
        cmocka_unit_test(a_removal_date_means_gone),
        cmocka_unit_test(refuses_by_name),
        cmocka_unit_test(refuses_names_that_are_too_long),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
