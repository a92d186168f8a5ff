/* ICAR animal data exchange: the writer's members against a list, and hostile files. */
#include "store_help.h"

#include "store/icar_priv.h"

#define BIRTH "icarMovementBirthEventResource"

/*
 * No schema of ICAR forbids a member that it does not know: a misspelt one is silently valid. So
 * every member that may be written stands here, as read in the schemas, by where it stands.
 */
static const struct allowed {
    const char *where, *members;
} allowed[] = {
    {"", " member view "},
    {"view", " totalItems totalPages pageSize currentPage "},
    {"icarAnimalCoreResource",
        " resourceType meta location identifier alternativeIdentifiers specie "
        "gender birthDate primaryBreed status parentage "},
    {"icarMovementArrivalEventResource",
        " resourceType id meta location eventDateTime animal animalDetail arrivalReason "},
    {"icarMovementDepartureEventResource",
        " resourceType id meta location eventDateTime animal departureKind departureReason "},
    {BIRTH, " resourceType id meta location eventDateTime animal registrationReason animalDetail "},
    {"icarMovementDeathEventResource",
        " resourceType id meta location eventDateTime animal deathReason deathMethod "},
    {"icarAnimalSetResource", " resourceType id meta location name purpose member "},
    {"meta", " source sourceId modified created "},
    {"location", " scheme id "},
    {"identifier", " scheme id "},
    {"animal", " scheme id "},
    {"parentOf", " scheme id "},
    {"primaryBreed", " scheme id "},
    {"alternativeIdentifiers", " scheme id "},
    {"member", " scheme id "}, /* of a set; resources are known by their type */
    {"parentage", " parentOf gender relation identifier "},
};

static const char *members_of(const char *where)
{
    for (size_t i = 0; i < sizeof allowed / sizeof *allowed; i++)
        if (strcmp(allowed[i].where, where) == 0)
            return allowed[i].members;
    fail_msg("nothing may be written at \"%s\"", where);
    return "";
}

/* @return How many objects were looked at. */
static unsigned look(const json_t *v, const char *where)
{
    const char *key;
    json_t *inner;
    size_t i;
    unsigned n = 1;
    char word[64];
    assert_false(json_is_null(v));
    if (json_is_array(v)) {
        json_array_foreach((json_t *) (uintptr_t) v, i, inner) n += look(inner, where);
        return n;
    }
    if (!json_is_object(v))
        return 0;
    const char *type = json_string_value(json_object_get(v, "resourceType"));
    const char *members = members_of(type != NULL ? type : where);
    json_object_foreach((json_t *) (uintptr_t) v, key, inner)
    {
        snprintf(word, sizeof word, " %s ", key);
        if (strstr(members, word) == NULL)
            fail_msg("%s may not be written in %s", key, type != NULL ? type : where);
        n += look(inner, key);
    }
    return n;
}

struct said {
    unsigned long notes, left_out;
};

static void note(const char *text, unsigned long n, bool left_out, void *ctx)
{
    struct said *said = ctx;
    assert_true(text[0] != '\0' && n > 0);
    said->notes++;
    said->left_out += left_out ? n : 0;
}

static char *written(struct lm_store *s, enum lm_icar_what what, struct said *said)
{
    char *text = NULL;
    size_t len = 0;
    FILE *out = open_memstream(&text, &len);
    struct lm_icar_write how = {.what = what,
        .source = "org.example.farm",
        .location = "0042",
        .now_ms = T0,
        .note = note,
        .ctx = said};
    assert_int_equal(lm_icar_write(s, &how, out), LM_OK);
    fclose(out);
    return text;
}

static json_t *parsed(const char *text)
{
    json_error_t error;
    json_t *root = json_loads(text, JSON_REJECT_DUPLICATES, &error);
    if (root == NULL)
        fail_msg("%s: %s", error.text, text);
    return root;
}

static json_t *export(struct lm_store *s, enum lm_icar_what what)
{
    struct said said = {0};
    char *text = written(s, what, &said);
    json_t *root = parsed(text);
    free(text);
    return root;
}

static struct lm_record goat(const char *key, uint64_t national, const char *visual)
{
    struct lm_record rec = animal(key, national, visual);
    snprintf(rec.species, sizeof rec.species, "goat");
    rec.devices[0].official = true;
    rec.sex = LM_SEX_FEMALE;
    return rec;
}

static void fill_register(struct lm_store *s)
{
    struct lm_record dam = goat("D1", 1, "0001"), kid = goat("K1", 2, "0002"),
                     buck = goat("B1", 0, "B");
    put_ok(s, &dam);
    buck.sex = LM_SEX_MALE;
    buck.devices[0].form = LM_TATTOO;
    buck.status = LM_DEAD;
    buck.status_date = (struct lm_date){2026, 1, 2};
    put_ok(s, &buck);
    snprintf(kid.dam, sizeof kid.dam, "D1");
    snprintf(kid.sire, sizeof kid.sire, "B1");
    snprintf(kid.breed, sizeof kid.breed, "boer");
    kid.born = (struct lm_date){2026, 2, 3};
    kid.status = LM_SOLD;
    kid.status_date = (struct lm_date){2026, 3, 4};
    put_ok(s, &kid);
}

static void append(struct lm_store *s, int64_t *session, struct lm_event ev)
{
    int64_t seq;
    ev.t_ms = T0;
    ev.clock_ms = LM_TIME_NONE;
    assert_int_equal(lm_store_begin(s), LM_OK);
    assert_int_equal(lm_store_append(s, session, &ev, NULL, &seq), LM_OK);
    assert_int_equal(lm_store_commit(s), LM_OK);
}

static void run_session(struct lm_store *s)
{
    int64_t session = 0;
    struct lm_open open = {.kind = LM_WALK};
    append(s, &session, (struct lm_event){.kind = LM_EVENT_OPEN, .open = &open});
    append(s, &session, (struct lm_event){.kind = LM_EVENT_READING, .eid = code(1)});
    append(s, &session, (struct lm_event){.kind = LM_EVENT_READING, .eid = code(777)});
    append(s, &session, (struct lm_event){.kind = LM_EVENT_READING, .eid = code(1)});
    append(s, &session,
        (struct lm_event){.kind = LM_EVENT_READING, .doubt = LM_DOUBT_DAMAGED, .text = "9.99E+14"});
    append(s, &session, (struct lm_event){.kind = LM_EVENT_SIGHTING, .text = "b"});
    append(
        s, &session, (struct lm_event){.kind = LM_EVENT_SIGHTING, .text = "x", .eid = code(777)});
    append(s, &session, (struct lm_event){.kind = LM_EVENT_SIGHTING, .text = "never"});
    append(s, &session, (struct lm_event){.kind = LM_EVENT_UNDO});
    append(s, &session, (struct lm_event){.kind = LM_EVENT_HEADS, .heads = 3});
    append(s, &session, (struct lm_event){.kind = LM_EVENT_CLOSE});
}

static void every_member_is_known(void **state)
{
    struct help *h = *state;
    fill_register(h->s);
    run_session(h->s);
    struct lm_record back;
    assert_int_equal(lm_store_get(h->s, "K1", &back), LM_OK);
    back.status = LM_ON_FARM;
    back.status_date.day++; /* the same day would be a correction: then it never left */
    put_ok(h->s, &back);
    for (int what = 0; what < LM_ICAR_WHATS; what++) {
        if (what == LM_ICAR_DEPARTURES) {
            back.status = LM_SOLD;
            put_ok(h->s, &back);
        }
        json_t *root = export(h->s, (enum lm_icar_what) what);
        if (json_array_size(json_object_get(root, "member")) == 0)
            fail_msg("no %s to look at", lm_icar_what_name((enum lm_icar_what) what));
        assert_true(look(root, "") > 6);
        json_decref(root);
    }
}

static void a_session_is_what_was_seen(void **state)
{
    struct help *h = *state;
    static const char *const want[] = {"999000000000001", "999000000000777", "B"};
    size_t i;
    json_t *id;
    struct said said = {0};
    fill_register(h->s);
    run_session(h->s);
    char *text = written(h->s, LM_ICAR_SESSION, &said);
    json_t *root = parsed(text);
    json_t *list = json_object_get(json_array_get(json_object_get(root, "member"), 0), "member");
    assert_int_equal(json_array_size(list), 3);
    json_array_foreach(list, i, id)
        assert_string_equal(json_string_value(json_object_get(id, "id")), want[i]);
    assert_int_equal(said.notes, 2); /* the doubtful reading and the head count */
    json_decref(root);
    free(text);
}

static void no_session_writes_nothing(void **state)
{
    struct help *h = *state;
    char *text = NULL;
    size_t len = 0;
    FILE *out = open_memstream(&text, &len);
    struct lm_icar_write how = {.what = LM_ICAR_SESSION, .location = "1"};
    assert_int_equal(lm_icar_write(h->s, &how, out), LM_ENOTFOUND);
    fclose(out);
    assert_int_equal(len, 0);
    free(text);
}

/* Each word of theirs comes back as it went, for all we have. */
static void words_both_ways(void **state)
{
    (void) state;
    for (int k = LM_SEX_UNKNOWN; k <= LM_SEX_MALE; k++)
        for (int cut = 0; cut < 2; cut++) {
            enum lm_sex sex = LM_SEX_UNKNOWN;
            bool castrated = false;
            const char *word = lm_icar_gender((enum lm_sex) k, cut != 0);
            assert_true(lm_icar_sex(word, &sex, &castrated));
            assert_int_equal(sex, k);
            assert_int_equal(castrated, cut != 0 && k != LM_SEX_UNKNOWN);
        }
    assert_string_equal(lm_icar_specie("Goat"), "Goat");
    assert_string_equal(lm_icar_specie("ovine"), "Sheep");
    assert_null(lm_icar_specie(""));
    assert_null(lm_icar_species("goat"));
    for (int what = 0; what < LM_ICAR_WHATS; what++) {
        enum lm_icar_what got = LM_ICAR_WHATS;
        assert_int_equal(
            lm_icar_what_parse(lm_icar_what_name((enum lm_icar_what) what), &got), LM_OK);
        assert_int_equal(got, what);
    }
}

static void count_problem(const struct lm_problem *p, void *ctx)
{
    struct said *said = ctx;
    assert_true(p->what[0] != '\0');
    assert_string_equal(p->file, "f.json");
    said->left_out++;
}

/* @return What reading gave; an error has told a problem, and rolling back leaves nothing. */
static enum lm_err read_in(struct lm_store *s, const char *text, size_t len, bool keep)
{
    struct said said = {0};
    struct lm_icar_taken taken;
    struct lm_icar_read how = {
        .name = "f.json", .problem = count_problem, .ctx = &said, .now_ms = T0};
    assert_int_equal(lm_store_begin(s), LM_OK);
    enum lm_err err = lm_icar_read(s, text, len, &how, &taken);
    assert_int_equal(err == LM_EINPUT, said.left_out > 0);
    assert_true(err == LM_OK || err == LM_EINPUT);
    if (keep && err == LM_OK)
        assert_int_equal(lm_store_commit(s), LM_OK);
    lm_store_rollback(s);
    return err;
}

static void cut_anywhere_it_is_refused(void **state)
{
    struct help *h = *state;
    struct said said = {0};
    fill_register(h->s);
    uint32_t before = lm_store_animals(h->s);
    char *text = written(h->s, LM_ICAR_ANIMALS, &said);
    size_t len = strlen(text);
    while (len > 0 && text[len - 1] == '\n')
        len--;
    assert_int_equal(read_in(h->s, text, len, false), LM_OK);
    for (size_t cut = 0; cut < len; cut++)
        assert_int_equal(read_in(h->s, text, cut, false), LM_EINPUT);
    assert_int_equal(lm_store_animals(h->s), before);
    free(text);
}

/* Bytes changed at random: it is taken or refused with a reason, and the register stays sound. */
static void spoilt_bytes(void **state)
{
    struct help *h = *state;
    struct said said = {0};
    unsigned seed = 7, taken = 0, refused = 0;
    static const char odd[] = "\"{}[],:0123456789-.eEnulltrue \\/\x00\xff\xc3";
    fill_register(h->s);
    run_session(h->s);
    for (int what = 0; what < LM_ICAR_WHATS; what++) {
        char *text = written(h->s, (enum lm_icar_what) what, &said);
        size_t len = strlen(text);
        char *spoilt = malloc(len);
        for (unsigned round = 0; round < 300; round++) {
            memcpy(spoilt, text, len);
            for (unsigned k = 0; k <= round % 3; k++) {
                seed = seed * 1664525u + 1013904223u;
                spoilt[(seed >> 8) % len] = odd[seed % (sizeof odd - 1)];
            }
            if (read_in(h->s, spoilt, len, false) == LM_OK)
                taken++;
            else
                refused++;
        }
        free(spoilt);
        free(text);
    }
    assert_true(taken > 50 && refused > 50);
    assert_int_equal(lm_store_animals(h->s), 3);
}

/* Wrong types in every member that is read. */
static void wrong_types(void **state)
{
    struct help *h = *state;
    static const char *const odd[] = {"5", "true", "\"\"", "[]", "{}", "[[]]", "{\"id\":5}",
        "\"\\ud800\"", "1e400", "123456789012345678901234567890", "null"};
    static const char *const members[] = {"identifier", "alternativeIdentifiers", "specie",
        "gender", "birthDate", "primaryBreed", "status", "parentage", "meta", "resourceType",
        "animal", "animalDetail", "eventDateTime", "id", "purpose", "member", "deathReason"};
    static const char *const types[] = {
        "icarAnimalCoreResource", BIRTH, "icarMovementDeathEventResource", "icarAnimalSetResource"};
    char text[512];
    fill_register(h->s);
    for (size_t t = 0; t < sizeof types / sizeof *types; t++)
        for (size_t m = 0; m < sizeof members / sizeof *members; m++)
            for (size_t o = 0; o < sizeof odd / sizeof *odd; o++) {
                int n = snprintf(text, sizeof text, "{\"member\":[{%s%s%s\"%s\":%s}]}",
                    strcmp(members[m], "resourceType") == 0 ? "" : "\"resourceType\":\"",
                    strcmp(members[m], "resourceType") == 0 ? "" : types[t],
                    strcmp(members[m], "resourceType") == 0 ? "" : "\",", members[m], odd[o]);
                read_in(h->s, text, (size_t) n, false);
            }
    assert_int_equal(lm_store_animals(h->s), 3);
}

static void deep_nesting(void **state)
{
    struct help *h = *state;
    size_t n = 200000;
    char *text = malloc(n);
    memset(text, '[', n);
    assert_int_equal(read_in(h->s, text, n, false), LM_EINPUT);
    free(text);
}

static void what_was_read_is_what_was_written(void **state)
{
    struct help *h = *state, *other = NULL;
    struct said said = {0};
    struct lm_record a, b;
    fill_register(h->s);
    char *text = written(h->s, LM_ICAR_ANIMALS, &said);
    assert_int_equal(help_setup((void **) &other), 0);
    assert_int_equal(read_in(other->s, text, strlen(text), true), LM_OK);
    free(text);
    static const char *const keys[] = {"D1", "K1", "B1"};
    for (int i = 0; i < 3; i++) {
        assert_int_equal(lm_store_get(h->s, keys[i], &a), LM_OK);
        assert_int_equal(lm_store_get(other->s, keys[i], &b), LM_OK);
        text_is(b.species, a.species, "species");
        text_is(b.breed, a.breed, "breed");
        text_is(b.dam, a.dam, "dam");
        text_is(b.sire, a.sire, "sire");
        date_is(b.born, a.born, "born");
        assert_int_equal(b.sex, a.sex);
        assert_int_equal(b.status, a.status);
        assert_int_equal(lm_eid_key(b.devices[0].eid), lm_eid_key(a.devices[0].eid));
    }
    help_teardown((void **) &other);
}

#define TEST(name) cmocka_unit_test_setup_teardown(name, help_setup, help_teardown)

int main(void)
{
    const struct CMUnitTest tests[] = {
        TEST(every_member_is_known),
        TEST(a_session_is_what_was_seen),
        TEST(no_session_writes_nothing),
        cmocka_unit_test(words_both_ways),
        TEST(cut_anywhere_it_is_refused),
        TEST(spoilt_bytes),
        TEST(wrong_types),
        TEST(deep_nesting),
        TEST(what_was_read_is_what_was_written),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
