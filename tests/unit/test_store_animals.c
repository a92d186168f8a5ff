/* Animals in and out of the register: every field, which device is which, what may not be. */
#include "store_help.h"

static struct lm_record full_record(void)
{
    struct lm_record rec = {.key = "G\xc3\xa9"
                                   "1",
        .species = "goat",
        .breed = "Hill",
        .dam = "D'1",
        .sire = "S%_1",
        .mob = "does",
        .born = {2026, 3, 28},
        .status_date = {2026, 10, 0},
        .sex = LM_SEX_FEMALE,
        .castrated = true,
        .status = LM_SOLD,
        .n_devices = 4};
    rec.devices[0] = (struct lm_device){.eid = code(274877906943),
        .visual = "UK 0417-1",
        .colour = "yellow",
        .applied = {2026, 0, 0},
        .form = LM_FLAG_TAG,
        .place = LM_LEFT_EAR,
        .official = true};
    rec.devices[1] = (struct lm_device){
        .eid = code_retag(7, 3), .uid = "04A1B2C3D4E5F6", .form = LM_BOLUS, .place = LM_RUMEN};
    rec.devices[2] = (struct lm_device){.visual = "0417",
        .why = "torn",
        .gone = true,
        .removed = {2026, 5, 0},
        .form = LM_TATTOO,
        .place = LM_TAIL_WEB};
    rec.devices[3] =
        (struct lm_device){.colour = "blue", .form = LM_LEG_BAND, .place = LM_LEG, .gone = true};
    /* All 64 bits in use, the sign bit of SQLite's integers too. */
    rec.devices[1].eid.bits |= UINT64_C(0x8F) << 48;
    return rec;
}

static void test_round_trip(void **state)
{
    struct help *h = *state;
    struct lm_record want = full_record(), got;
    struct lm_record bare = {.key = "bare"};
    int64_t seq = 0;
    assert_int_equal(lm_store_put(h->s, &want, T0, "bought", &seq), LM_OK);
    assert_int_equal(seq, 1);
    put_ok(h->s, &bare);
    help_reopen(h);
    memset(&got, 0xff, sizeof got);
    get_ok(h->s, want.key, &got);
    record_is(&got, &want);
    for (unsigned i = 0; i < got.n_devices; i++)
        assert_true(got.devices[i].id > 0);
    get_ok(h->s, "bare", &got);
    record_is(&got, &bare);
    assert_int_equal(lm_store_animals(h->s), 2);
    assert_int_equal(lm_store_get(h->s, "nobody", &got), LM_ENOTFOUND);
    says(lm_store_problem(h->s), "nobody");
}

static void test_put_changes_every_field(void **state)
{
    struct help *h = *state;
    struct lm_record rec = animal("A1", 1, "0001"), got;
    put_ok(h->s, &rec);
    struct lm_record full = full_record();
    get_ok(h->s, "A1", &got);
    int64_t id = got.devices[0].id;
    memcpy(full.key, "A1", 3);
    full.devices[0].id = id;
    put_ok(h->s, &full);
    get_ok(h->s, "A1", &got);
    record_is(&got, &full);
    /* And back to nothing, the devices apart. */
    struct lm_record less = {.key = "A1", .n_devices = got.n_devices};
    for (unsigned i = 0; i < got.n_devices; i++)
        less.devices[i] = (struct lm_device){.id = got.devices[i].id};
    put_ok(h->s, &less);
    get_ok(h->s, "A1", &got);
    record_is(&got, &less);
    sound(h->path);
}

static enum lm_err stood_as(const struct lm_record *rec, long line, void *ctx)
{
    (void) line;
    record_is(rec, ctx);
    return LM_OK;
}

/* Each field changed alone is a change: it is an event, and it is kept. */
static void test_one_field_at_a_time(void **state)
{
    struct help *h = *state;
    struct lm_record rec = full_record(), before, got;
    rec.devices[0].gone = true;
    put_ok(h->s, &rec);
    for (int field = 0;; field++) {
        int64_t seq = 0;
        get_ok(h->s, rec.key, &rec);
        before = rec;
        struct lm_device *d = &rec.devices[0];
        char *const texts[] = {rec.species, rec.breed, rec.dam, rec.sire, rec.mob, d->visual,
            d->colour, d->uid, d->why};
        uint8_t *const words[] = {&rec.sex, &rec.status, &d->form, &d->place};
        bool *const flags[] = {&rec.castrated, &d->official, &d->gone};
        struct lm_date *const dates[] = {&rec.born, &rec.status_date, &d->applied, &d->removed};
        if (field < 9)
            memcpy(texts[field], field == 7 ? "0F" : "Z9", 3);
        else if (field < 13)
            *words[field - 9] = *words[field - 9] == 0 ? 1 : 0;
        else if (field < 16)
            *flags[field - 13] = !*flags[field - 13];
        else if (field < 20)
            *dates[field - 16] = (struct lm_date){2025, (uint8_t) (field - 15), 7};
        else if (field == 20)
            d->eid = lm_eid_from_bits(d->eid.bits);
        else if (field == 21)
            d->eid = code_retag(99, 1);
        else if (field == 22) /* a country that cannot be, as some readers give it */
            d->eid = lm_eid_from_bits(UINT64_C(1023) << 38 | 5);
        else if (field == 23)
            d->eid = lm_eid_from_bits(5);
        else if (field == 24)
            d->eid = (struct lm_eid){UINT64_C(0x8000) << 48 | UINT64_C(1001) << 38, LM_EID_CODE};
        else
            break;
        assert_int_equal(lm_store_put(h->s, &rec, T0, "", &seq), LM_OK);
        if (seq == 0)
            fail_msg("a change of field %d was not seen", field);
        get_ok(h->s, rec.key, &got);
        record_is(&got, &rec);
        struct lm_record past = before;
        if (lm_store_each_at(h->s, seq, stood_as, &past) != LM_OK)
            fail_msg("field %d: %s", field, lm_store_problem(h->s)->what);
    }
    sound(h->path);
}

static void test_same_entry_is_no_event(void **state)
{
    struct help *h = *state;
    struct lm_record rec = full_record(), got;
    int64_t seq = 0;
    put_ok(h->s, &rec);
    assert_int_equal(lm_store_put(h->s, &rec, T0 + 5, "again", &seq), LM_OK);
    assert_int_equal(seq, 0);
    get_ok(h->s, rec.key, &got);
    assert_int_equal(lm_store_put(h->s, &got, T0 + 5, "again", &seq), LM_OK);
    assert_int_equal(seq, 0);
    assert_int_equal(lm_store_last_seq(h->s), 1);
}

/* What a new entry, without rows, makes of the devices of A1: code 1 / 0001 (all 64 bits, retag
   2), number 0002, code 3. */
static void test_matching(void **state)
{
    static const struct {
        const char *name;
        uint64_t national;
        int8_t retag; /* -1: 15 digits only */
        const char *visual;
        unsigned was; /* which device it must be, 3 for a new one */
    } cases[] = {
        {"the same", 1, 2, "0001", 0},
        {"digits only", 1, -1, "0001", 0},
        {"number corrected", 1, 2, "0009", 0},
        {"another counter", 1, 5, "0001", 3},
        {"number only", 0, 0, "0002", 1},
        {"code becomes known", 8, -1, "0002", 1},
        {"code only", 3, -1, "", 2},
        {"code with a number at last", 3, -1, "0003", 2},
        {"a new one", 9, -1, "0010", 3},
    };
    struct help *h = *state;
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct lm_record old = animal("A1", 0, "0001"), got, rec;
        old.n_devices = 3;
        old.devices[0].eid = code_retag(1, 2);
        memcpy(old.devices[1].visual, "0002", 5);
        old.devices[2].eid = code(3);
        snprintf(old.key, sizeof old.key, "A%zu", i);
        for (unsigned k = 0; k < 3; k++) /* no two animals of this test share a code */
            if (old.devices[k].eid.known != LM_EID_NONE)
                old.devices[k].eid.bits += i * 100;
        put_ok(h->s, &old);
        get_ok(h->s, old.key, &old);
        rec = old;
        for (unsigned k = 0; k < 3; k++)
            rec.devices[k].id = 0;
        unsigned at = cases[i].was == 3 ? rec.n_devices++ : cases[i].was;
        struct lm_device *d = &rec.devices[at];
        memset(d, 0, sizeof *d);
        if (cases[i].national != 0 && cases[i].retag < 0)
            d->eid = code(cases[i].national + i * 100);
        else if (cases[i].national != 0)
            d->eid = code_retag(cases[i].national + i * 100, (uint8_t) cases[i].retag);
        snprintf(d->visual, sizeof d->visual, "%s", cases[i].visual);
        d->form = LM_FLAG_TAG;
        if (lm_store_put(h->s, &rec, T0, "", NULL) != LM_OK)
            fail_msg("%s: %s", cases[i].name, lm_store_problem(h->s)->what);
        get_ok(h->s, old.key, &got);
        assert_int_equal(got.n_devices, rec.n_devices);
        for (unsigned k = 0; k < 3; k++)
            assert_int_equal(got.devices[k].id, old.devices[k].id);
        assert_int_equal(got.devices[at].form, LM_FLAG_TAG);
        text_is(got.devices[at].visual, cases[i].visual, cases[i].name);
        if (at == 0) /* what the telegram told is kept */
            assert_int_equal(got.devices[0].eid.bits, old.devices[0].eid.bits);
    }
    sound(h->path);
}

static void test_devices_never_vanish(void **state)
{
    struct help *h = *state;
    struct lm_record rec = animal("A1", 1, "0001"), got;
    rec.n_devices = 2;
    rec.devices[1] = (struct lm_device){.visual = "0002"};
    put_ok(h->s, &rec);
    get_ok(h->s, "A1", &rec);
    struct lm_record less = rec;
    less.n_devices = 1;
    less.status = LM_SOLD;
    assert_int_equal(lm_store_put(h->s, &less, T0, "", NULL), LM_EARG);
    says(lm_store_problem(h->s), "0002");
    less.devices[0] = rec.devices[1];
    assert_int_equal(lm_store_put(h->s, &less, T0, "", NULL), LM_EARG);
    says(lm_store_problem(h->s), "999000000000001");
    less = rec;
    less.devices[1].id = 4711;
    assert_int_equal(lm_store_put(h->s, &less, T0, "", NULL), LM_EARG);
    less.devices[1].id = less.devices[0].id;
    assert_int_equal(lm_store_put(h->s, &less, T0, "", NULL), LM_EARG);
    less = rec; /* all are there, one of them twice */
    less.devices[less.n_devices++] = less.devices[0];
    assert_int_equal(lm_store_put(h->s, &less, T0, "", NULL), LM_EARG);
    get_ok(h->s, "A1", &got);
    record_is(&got, &rec);
    assert_int_equal(lm_store_last_seq(h->s), 1);
    /* A removed number does not come back to life as a device with a code. */
    rec.devices[1].gone = true;
    put_ok(h->s, &rec);
    less = rec;
    less.devices[1] = (struct lm_device){.visual = "0002", .eid = code(77)};
    assert_int_equal(lm_store_put(h->s, &less, T0, "", NULL), LM_EARG);
    says(lm_store_problem(h->s), "0002");
}

static void test_code_is_worn_once(void **state)
{
    struct help *h = *state;
    struct lm_record a = animal("A1", 1, "0001"), b = animal("B2", 1, "0002"), got;
    put_ok(h->s, &a);
    for (int inside = 0; inside < 2; inside++) {
        if (inside)
            assert_int_equal(lm_store_begin(h->s), LM_OK);
        assert_int_equal(lm_store_put(h->s, &b, T0, "", NULL), LM_EEXISTS);
        says(lm_store_problem(h->s), "A1");
        says(lm_store_problem(h->s), "B2");
        says(lm_store_problem(h->s), "999000000000001");
        assert_true(lm_store_problem(h->s)->mend[0] != '\0');
        if (inside) /* the failed animal left nothing behind, the rest of the change goes on */
            assert_int_equal(lm_store_commit(h->s), LM_OK);
        assert_int_equal(lm_store_get(h->s, "B2", &got), LM_ENOTFOUND);
    }
    /* What was written of an animal before its second device failed is taken out again. */
    struct lm_record two = animal("D4", 50, "0050");
    two.n_devices = 2;
    two.devices[1].eid = code(1);
    assert_int_equal(lm_store_begin(h->s), LM_OK);
    assert_int_equal(lm_store_put(h->s, &two, T0, "", NULL), LM_EEXISTS);
    says(lm_store_problem(h->s), "A1");
    two.devices[1].eid = code(51);
    put_ok(h->s, &two);
    two.devices[0].eid = code(52);
    two.devices[1].eid = code(1);
    two.status = LM_DEAD;
    get_ok(h->s, "D4", &got);
    two.devices[0].id = got.devices[0].id;
    two.devices[1].id = got.devices[1].id;
    assert_int_equal(lm_store_put(h->s, &two, T0, "", NULL), LM_EEXISTS);
    assert_int_equal(lm_store_commit(h->s), LM_OK);
    get_ok(h->s, "D4", &two);
    record_is(&two, &got);
    /* A higher counter, or a removed device, may carry the same digits. */
    b.devices[0].eid = code_retag(1, 1);
    put_ok(h->s, &b);
    struct lm_record c = animal("C3", 1, "0003");
    c.devices[0].gone = true;
    put_ok(h->s, &c);
    c.devices[0].gone = false;
    get_ok(h->s, "C3", &got);
    got.devices[0].gone = false;
    assert_int_equal(lm_store_put(h->s, &got, T0, "", NULL), LM_EEXISTS);
    says(lm_store_problem(h->s), "A1");
    got.devices[0].eid = code_retag(1, 1);
    assert_int_equal(lm_store_put(h->s, &got, T0, "", NULL), LM_EEXISTS);
    says(lm_store_problem(h->s), "B2");
    sound(h->path);
}

static void test_chip_is_worn_once(void **state)
{
    struct help *h = *state;
    struct lm_record a = animal("A1", 1, ""), b = animal("B2", 2, "");
    memcpy(a.devices[0].uid, "04AABBCC", 9);
    memcpy(b.devices[0].uid, "04AABBCC", 9);
    put_ok(h->s, &a);
    assert_int_equal(lm_store_put(h->s, &b, T0, "", NULL), LM_EEXISTS);
    says(lm_store_problem(h->s), "04AABBCC");
    says(lm_store_problem(h->s), "A1");
}

static void test_devices_of_one_animal_trade_codes(void **state)
{
    struct help *h = *state;
    struct lm_record rec = animal("A1", 1, "0001"), got;
    rec.n_devices = 2;
    rec.devices[1] = (struct lm_device){.eid = code(2), .visual = "0002"};
    put_ok(h->s, &rec);
    get_ok(h->s, "A1", &rec);
    struct lm_eid first = rec.devices[0].eid;
    rec.devices[0].eid = rec.devices[1].eid;
    rec.devices[1].eid = first;
    put_ok(h->s, &rec);
    get_ok(h->s, "A1", &got);
    record_is(&got, &rec);
    rec.devices[1].eid = rec.devices[0].eid;
    assert_int_equal(lm_store_put(h->s, &rec, T0, "", NULL), LM_EEXISTS);
    says(lm_store_problem(h->s), "A1");
}

static void spoil_animal(struct lm_record *rec, int what)
{
    static const struct lm_date no_month = {2026, 0, 5}, no_day = {2026, 2, 29};
    switch (what) {
    case 0:
        rec->key[0] = '\0';
        break;
    case 1:
        memcpy(rec->key, "A\n1", 4);
        break;
    case 2:
        memset(rec->key, 'A', sizeof rec->key);
        break;
    case 3:
        memcpy(rec->breed, "\xff\xfe", 3);
        break;
    case 4: /* files drop the blank: the history would differ */
        memcpy(rec->mob, "does ", 6);
        break;
    case 5:
        rec->sex = 3;
        break;
    case 6:
        rec->status = 5;
        break;
    case 7:
        rec->born = no_month;
        break;
    case 8:
        rec->status_date = no_day;
        break;
    default:
        rec->n_devices = LM_DEVICES_MAX + 1;
    }
}

static void spoil_device(struct lm_device *d, int what)
{
    static const struct lm_date not_a_year = {-1, 1, 1}, month_alone = {0, 5, 0};
    static const char *const uids[] = {"04xy", "04ab", "04-AB"};
    static const struct lm_eid codes[] = {{5, LM_EID_NONE}, {5, LM_EID_CODE}, {5, 3},
        {UINT64_C(0x8000) << 48, LM_EID_CODE}, {UINT64_C(0x8000) << 48, LM_EID_FULL}};
    if (what < 3)
        memcpy(d->uid, uids[what], strlen(uids[what]) + 1);
    else if (what < 8)
        d->eid = codes[what - 3];
    else if (what == 8)
        d->applied = month_alone;
    else if (what == 9)
        d->removed = not_a_year;
    else if (what == 10)
        memcpy(d->visual, " 1", 3);
    else if (what == 11)
        memset(d->why, 'w', sizeof d->why);
    else if (what == 12)
        d->form = LM_TATTOO + 1;
    else if (what == 13)
        d->place = LM_TAIL_WEB + 1;
    else
        d->id = 5;
}

static void test_bad_entries(void **state)
{
    struct help *h = *state;
    for (int what = 0; what < 10 + 15; what++) {
        struct lm_record rec = animal("A1", 1, "1");
        if (what < 10)
            spoil_animal(&rec, what);
        else
            spoil_device(&rec.devices[0], what - 10);
        if (lm_store_put(h->s, &rec, T0, "", NULL) != LM_EARG)
            fail_msg("bad entry %d was taken", what);
        assert_true(lm_store_problem(h->s)->mend[0] != '\0');
    }
    assert_int_equal(lm_store_animals(h->s), 0);
    assert_int_equal(lm_store_last_seq(h->s), 0);
}

#define WITH(f) cmocka_unit_test_setup_teardown(f, help_setup, help_teardown)

int main(void)
{
    const struct CMUnitTest tests[] = {
        WITH(test_round_trip),
        WITH(test_put_changes_every_field),
        WITH(test_one_field_at_a_time),
        WITH(test_same_entry_is_no_event),
        WITH(test_matching),
        WITH(test_devices_never_vanish),
        WITH(test_code_is_worn_once),
        WITH(test_chip_is_worn_once),
        WITH(test_devices_of_one_animal_trade_codes),
        WITH(test_bad_entries),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
