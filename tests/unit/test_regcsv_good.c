/* The register from CSV: what is taken, and that what is written comes back the same. */
#include "regcsv_help.h"

static void takes_the_contract(void **state)
{
    struct result *out = read_good(
        "animal,species,breed,sex,born,dam,sire,mob,status,form,place,colour,official,eid,visual,"
        "applied,removed\r\n"
        "A17,goat,Boer,doe,2024-03,A3,,does,on-farm,flag tag,left ear,yellow,1,999000000012345,"
        "0417,2024-04-01,\r\n"
        "A17,,,,,,,,,bolus,rumen,,0,,,2025,2026-01-02\r\n"
        "A18,sheep,,wether,2023,,,,Sold,,,,,,,,\r\n");
    const struct lm_record *a = out->records, *b = out->records + 1;

    (void) state;
    assert_int_equal(out->n_records, 2);
    assert_int_equal(out->lines[0], 2);
    assert_int_equal(out->lines[1], 4);
    assert_true(out->progress > 0);
    assert_string_equal(a->key, "A17");
    assert_string_equal(a->breed, "Boer");
    assert_string_equal(a->dam, "A3");
    assert_string_equal(a->sire, "");
    assert_int_equal(a->sex, LM_SEX_FEMALE);
    assert_int_equal(a->born.month, 3);
    assert_int_equal(a->n_devices, 2);
    assert_string_equal(a->devices[0].visual, "0417");
    assert_int_equal(lm_eid_national(a->devices[0].eid), 12345);
    assert_int_equal(a->devices[0].form, LM_FLAG_TAG);
    assert_int_equal(a->devices[0].place, LM_LEFT_EAR);
    assert_true(a->devices[0].official);
    assert_false(a->devices[0].gone);
    assert_int_equal(a->devices[1].form, LM_BOLUS);
    assert_true(a->devices[1].gone);
    assert_int_equal(a->devices[1].removed.day, 2);
    assert_int_equal(b->n_devices, 0);
    assert_int_equal(b->sex, LM_SEX_MALE);
    assert_true(b->castrated);
    assert_int_equal(b->status, LM_SOLD);
    drop(out);
}

static void takes_all_shapes_of_csv(void **state)
{
    static const char *const same[] = {
        "eid,visual,mob\n999000000012345,\"04,17\",does\n",
        "eid,visual,mob\r\n999000000012345,\"04,17\",does\r\n",
        "\xEF\xBB\xBFvisual,eid,mob\n\"04,17\",999000000012345,does",
        "\xEF\xBB\xBF\"eid\",\"visual\",\"mob\"\r\n\"999000000012345\",\"04,17\",\"does\"\r\n",
        "eid;visual;mob\n999000000012345;04,17;does\n",
        "eid\tvisual\tmob\n999000000012345\t04,17\tdoes\n",
        "\n\nEid , VISUAL,Mob\n\n\n 999000000012345 ,\" 04,17 \", does \n\n\n",
        "mob;eid;visual\ndoes;999-000000012345;\"04,17\"\n",
    };

    (void) state;
    for (size_t i = 0; i < sizeof same / sizeof same[0]; i++) {
        struct result *out = read_good(same[i]);
        assert_int_equal(out->n_records, 1);
        assert_string_equal(out->records[0].key, "04,17");
        assert_string_equal(out->records[0].mob, "does");
        assert_string_equal(out->records[0].devices[0].visual, "04,17");
        assert_int_equal(lm_eid_national(out->records[0].devices[0].eid), 12345);
        drop(out);
    }
}

static void keeps_odd_texts_as_they_are(void **state)
{
    struct result *out = read_good("visual,mob,breed,why\n"
                                   "007,=1+1,\"say \"\"hi\"\"\",+x\n"
                                   "0007,-a,@b,'=c\n");

    (void) state;
    assert_string_equal(out->records[0].devices[0].visual, "007");
    assert_string_equal(out->records[0].mob, "=1+1");
    assert_string_equal(out->records[0].breed, "say \"hi\"");
    assert_string_equal(out->records[0].devices[0].why, "+x");
    assert_string_equal(out->records[1].key, "0007");
    assert_string_equal(out->records[1].mob, "-a");
    assert_string_equal(out->records[1].breed, "@b");
    assert_string_equal(out->records[1].devices[0].why, "'=c");
    drop(out);
}

static void a_header_alone_is_an_empty_register(void **state)
{
    struct result *out = read_good("animal,eid\r\n");

    (void) state;
    assert_int_equal(out->n_records, 0);
    drop(out);
}

static void names_animals_that_have_no_name(void **state)
{
    struct result *out = read_good("animal,visual,eid,uid\n"
                                   ",17,999000000000001,\n" /* 17 belongs to line 6 */
                                   ",18,999000000000002,\n"
                                   ",18,999000000000003,\n"
                                   ",18,,\n"
                                   "17,,,\n"
                                   "row 5,,,\n"
                                   ",,,04AABBCCDDEEFF\n"
                                   ",,999000000000003,\n");
    static const char *const keys[] = {
        "999000000000001", "18", "999000000000003", "row 5-2", "17", "row 5", "row 8", "row 9"};

    (void) state;
    assert_int_equal(out->n_records, 8);
    for (int i = 0; i < 8; i++)
        assert_string_equal(out->records[i].key, keys[i]);
    assert_int_equal(out->lines[7], 9);
    drop(out);
}

static void a_long_number_names_no_animal(void **state)
{
    char text[300];
    struct result *out;

    (void) state;
    snprintf(text, sizeof text, "visual,eid\n%064d,999000000000001\n%063d,\n", 1, 2);
    out = read_good(text);
    assert_string_equal(out->records[0].key, "999000000000001");
    assert_int_equal(strlen(out->records[1].key), 63);
    drop(out);
}

static void joins_rows_of_one_animal(void **state)
{
    struct result *out = read_good("animal,visual,mob,sex,born,status\n"
                                   "A,1,,,2024,sold\n"
                                   "B,2,does,f,,\n"
                                   "A,3,bucks,m,,\n"
                                   "B,4,,,,on-farm\n"
                                   "A,,bucks,,2024,\n");

    (void) state;
    assert_int_equal(out->n_records, 2);
    assert_string_equal(out->records[0].key, "A");
    assert_int_equal(out->records[0].n_devices, 2);
    assert_string_equal(out->records[0].devices[0].visual, "1");
    assert_string_equal(out->records[0].devices[1].visual, "3");
    assert_string_equal(out->records[0].mob, "bucks");
    assert_int_equal(out->records[0].sex, LM_SEX_MALE);
    assert_int_equal(out->records[0].born.year, 2024);
    assert_int_equal(out->records[0].status, LM_SOLD);
    assert_string_equal(out->records[1].mob, "does");
    assert_int_equal(out->records[1].n_devices, 2);
    drop(out);
}

static void reads_yes_and_no(void **state)
{
    static const char *const words[] = {
        "1", "yes", "TRUE", "Official", "0", "no", "False", "management", ""};

    (void) state;
    for (int i = 0; i < 9; i++) {
        char text[100];
        struct result *out;

        snprintf(text, sizeof text, "visual,official\n1,%s\n", words[i]);
        out = read_good(text);
        assert_int_equal(out->records[0].devices[0].official, i < 4);
        drop(out);
    }
}

static void lenient_takes_unknown_words(void **state)
{
    static const char good[] = "visual,form,place\n1,sticker,nose\n2,flag,left\n";
    static const char bad[] = "visual,sex,status\n1,hen,\n2,,gone\n";
    struct result *out = read_bytes(good, sizeof good - 1, true);

    (void) state;
    assert_int_equal(out->err, LM_OK);
    assert_int_equal(out->records[0].devices[0].form, LM_DEVICE_UNKNOWN);
    assert_int_equal(out->records[0].devices[0].place, LM_PLACE_UNKNOWN);
    assert_int_equal(out->records[1].devices[0].form, LM_FLAG_TAG);
    drop(out);
    out = read_bytes(bad, sizeof bad - 1, true);
    assert_int_equal(out->err, LM_EINPUT);
    assert_int_equal(out->n_problems, 2);
    drop(out);
}

static void one_readable_code_is_enough(void **state)
{
    struct result *out = read_good("visual,eid,eid_text\n"
                                   "1,9.99E+14,999-000000012000\n"
                                   "2,999000000012000,\n"
                                   "3,999000000012000,999-000000012000\n"
                                   "4,999000000012000,999-000000012000\n"
                                   "5,999000000012345,smudged\n"
                                   "6,,999 000000012346\n"
                                   "7,999000000012345,0x9000F9C000003039\n"
                                   "8,9000F9C000003039,\n"
                                   "9,9000F9C000003039,999-000000012345\n");
    static const unsigned national[] = {
        12000, 12000, 12000, 12000, 12345, 12346, 12345, 12345, 12345};

    (void) state;
    for (int i = 0; i < 9; i++) {
        struct lm_eid eid = out->records[i].devices[0].eid;
        assert_int_equal(lm_eid_country(eid), 999);
        assert_int_equal(lm_eid_national(eid), national[i]);
        assert_int_equal(eid.known, i < 6 ? LM_EID_CODE : LM_EID_FULL);
        assert_int_equal(lm_eid_retag(eid), i < 6 ? 0 : 1);
    }
    drop(out);
}

/* A replaced device keeps its 15 digits: rows of one animal are no sign of a spreadsheet. */
static void round_codes_of_one_animal_are_fine(void **state)
{
    struct result *out = read_good("animal,eid,removed\n"
                                   "A,999000000012000,2024\n"
                                   "A,999000000012000,2025\n"
                                   "A,999000000012000,\n"
                                   "B,999000000012000,\n");

    (void) state;
    assert_int_equal(out->n_records, 2);
    drop(out);
}

/* Two living animals with one code: reconcile has to be able to find that. */
static void one_code_on_two_animals_is_let_through(void **state)
{
    struct result *out = read_good("animal,eid\nA,999000000012345\nB,999000000012345\n");

    (void) state;
    assert_int_equal(out->n_records, 2);
    drop(out);
}

static void stops_when_the_hook_says_so(void **state)
{
    FILE *in = tmpfile();
    struct result *out;

    (void) state;
    fputs("visual\n1\n2\n", in);
    rewind(in);
    out = read_file(in, false, LM_EFULL);
    assert_int_equal(out->err, LM_EFULL);
    assert_int_equal(out->n_records, 1);
    assert_int_equal(out->n_problems, 0);
    drop(out);
}

/* Rows, quotes and CRLF at every possible place relative to the pieces in which the file is read.
 */
static void pieces_may_end_anywhere(void **state)
{
    (void) state;
    for (unsigned shift = 0; shift < 40; shift++) {
        FILE *in = tmpfile();
        struct result *out;

        fprintf(in, "animal,visual,mob\r\n%0*d,,\r\n", (int) shift + 1, 0);
        for (unsigned i = 0; i < 40000; i++)
            fprintf(in, "A%u,\"%u,\"\"%u\",x\r\n", i % 1000, i % 7, i / 1000);
        rewind(in);
        out = read_file(in, false, LM_OK);
        assert_int_equal(out->err, LM_OK);
        assert_int_equal(out->n_records, 1001);
        for (unsigned k = 0; k < 1000; k++) {
            assert_int_equal(out->records[k + 1].n_devices, 40);
            assert_int_equal(out->lines[k + 1], k + 3);
        }
        drop(out);
    }
}

static void comes_back_the_same(void **state)
{
    struct dice dice = {0x13198a2e03707344};
    struct lm_record *before = calloc(1000, sizeof *before);

    (void) state;
    for (unsigned round = 0; round < 3; round++) {
        FILE *file = tmpfile();
        struct result *out;

        assert_int_equal(lm_regcsv_write_header(file), LM_OK);
        for (unsigned i = 0; i < 1000; i++) {
            random_record(&dice, i, &before[i]);
            /* A device of which nothing at all is known has no row of its own. */
            for (unsigned k = 0; k < before[i].n_devices; k++)
                before[i].devices[k].form = (uint8_t) (1 + roll(&dice, LM_TATTOO));
            assert_int_equal(lm_regcsv_write(file, &before[i]), LM_OK);
        }
        rewind(file);
        out = read_file(file, false, LM_OK);
        if (out->err)
            fail_msg("%ld:%ld: %s", out->problems[0].line, out->problems[0].column,
                out->problems[0].what);
        assert_int_equal(out->n_records, 1000);
        for (unsigned i = 0; i < 1000; i++) {
            const char *field = record_difference(&before[i], &out->records[i]);
            if (field)
                fail_msg("%s of %s came back changed", field, before[i].key);
        }
        drop(out);
    }
    free(before);
}

static char *written(const struct lm_record *rec)
{
    char *text = NULL;
    size_t len;
    FILE *out = open_memstream(&text, &len);

    assert_int_equal(lm_regcsv_write(out, rec), LM_OK);
    fclose(out);
    return text;
}

static void writes_what_the_page_says(void **state)
{
    static struct lm_record rec;
    char *text;

    (void) state;
    snprintf(rec.key, sizeof rec.key, "A,1");
    text = written(&rec);
    assert_string_equal(text, "\"A,1\",,,,,,,,on-farm,,,,,,,,,0,,,,,\r\n");
    free(text);
    rec.n_devices = 2;
    lm_eid_make(36, 98765, &rec.devices[0].eid);
    snprintf(rec.devices[0].visual, sizeof rec.devices[0].visual, "=0\"417");
    rec.devices[1].eid = lm_eid_from_bits(UINT64_C(0x9000F9C000003039));
    rec.devices[1].gone = true;
    rec.devices[1].replaces = 1;
    text = written(&rec);
    assert_string_equal(text,
        "\"A,1\",,,,,,,,on-farm,,,,0,036000000098765,\"=0\"\"417\",,,0,,,,036-000000098765,\r\n"
        "\"A,1\",,,,,,,,on-farm,,,,0,999000000012345,,,unknown,0,,,,0x9000F9C000003039,1\r\n");
    free(text);
}

static void writes_nothing_that_it_could_not_read(void **state)
{
    static struct lm_record rec;
    FILE *out = tmpfile();

    (void) state;
    assert_int_equal(lm_regcsv_write(out, &rec), LM_EARG); /* no key */
    snprintf(rec.key, sizeof rec.key, "A");
    snprintf(rec.mob, sizeof rec.mob, "two\nlines");
    assert_int_equal(lm_regcsv_write(out, &rec), LM_EARG);
    assert_int_equal(ftell(out), 0);
    fclose(out);
    out = fopen("/dev/full", "w");
    if (out) {
        setbuf(out, NULL);
        assert_int_equal(lm_regcsv_write_header(out), LM_EIO);
        rec.mob[0] = '\0';
        assert_int_equal(lm_regcsv_write(out, &rec), LM_EIO);
        fclose(out);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(takes_the_contract),
        cmocka_unit_test(takes_all_shapes_of_csv),
        cmocka_unit_test(keeps_odd_texts_as_they_are),
        cmocka_unit_test(a_header_alone_is_an_empty_register),
        cmocka_unit_test(names_animals_that_have_no_name),
        cmocka_unit_test(a_long_number_names_no_animal),
        cmocka_unit_test(joins_rows_of_one_animal),
        cmocka_unit_test(reads_yes_and_no),
        cmocka_unit_test(lenient_takes_unknown_words),
        cmocka_unit_test(one_readable_code_is_enough),
        cmocka_unit_test(round_codes_of_one_animal_are_fine),
        cmocka_unit_test(one_code_on_two_animals_is_let_through),
        cmocka_unit_test(stops_when_the_hook_says_so),
        cmocka_unit_test(pieces_may_end_anywhere),
        cmocka_unit_test(comes_back_the_same),
        cmocka_unit_test(writes_what_the_page_says),
        cmocka_unit_test(writes_nothing_that_it_could_not_read),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
