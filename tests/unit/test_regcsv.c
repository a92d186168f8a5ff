/* The register from CSV: every refusal with its place, what is wrong and how to mend it. */
#include "regcsv_help.h"

/* One bad file, and the first problem that must be told of it. */
struct refusal {
    const char *text;
    long line, column;
    const char *what, *mend;
    enum lm_err err; /**< 0 for LM_EINPUT */
};

#define H "animal,sex,status,form,place,official,eid,visual,born,removed\n"
#define E15 "999000000012345"

static const struct refusal headers[] = {
    {"", 1, 0, "the file is empty", "animal,eid,visual", 0},
    {"\n\n \r\n", 1, 0, "the file is empty", "", 0},
    {"animal,mob\nA,does\n", 1, 0, "neither a column eid nor a column visual", "", 0},
    {"animal,eid,color\n", 1, 3, "unknown column name color", "did you mean colour?", 0},
    {"animal,eid,satus_dat\n", 1, 3, "unknown column name satus_dat", "did you mean status_date?",
        0},
    {"eid,weight in kilograms\n", 1, 2, "unknown column name weight", "the columns are animal, ",
        0},
    {"eid,zzzzzzzz\n", 1, 2, "unknown", "the columns are animal, ", 0},
    {"eid,visual,EID\n", 1, 3, "the column eid is there twice, first as column 1", "rename", 0},
    {"eid,visual,\n", 1, 3, "this column has no name", "delete it", 0},
    {"\n\neid,visual,colr\n", 3, 3, "unknown column name colr", "colour", 0},
    {"eid,vis\xFFual\n", 1, 2, "not clean UTF-8", "UTF-8", 0},
    {"PK\003\004xxxx", 1, 0, "a spreadsheet file, not CSV", "save it as CSV", 0},
    {"\xFF\xFE"
     "e",
        1, 0, "UTF-16", "UTF-8", 0},
    {"eid,visual\rA,B\rC,D\r", 1, 0, "carriage return", "LF or CRLF", 0},
};

static const struct refusal rows[] = {
    {"eid,visual\n" E15 ",1\n" E15 "\n", 3, 2, "1 cells, but the header line names 2",
        "same columns", 0},
    {"eid,visual\n" E15 ",1,,\n", 2, 3, "4 cells, but the header line names 2", "quotes", 0},
    {"eid,visual\n,\n", 2, 0, "nothing says which animal", "delete the row", 0},
    {"animal,eid,mob\n,,does\n", 2, 0, "nothing says which animal", "", 0},
    {"eid,visual\n,a\"b\n", 2, 2, "a quote stands", "double each quote", 0},
    {"eid,visual\n\"x\"y,1\n", 2, 1, "a quote stands", "", 0},
    {"eid,visual\n,\"open\n,2\n,3\n", 2, 2, "not closed before the end of the file", "close", 0},
    {"eid,visual\n,\"open\n,\"2\"\n,3\n", 2, 2, "not closed before line 3", "", 0},
    {"eid,visual\n,\"two\nlines\"\n", 2, 2, "visual: holds a line break", "one line", 0},
    {"eid,visual\n,caf\xE9\n", 2, 2, "visual: not clean UTF-8", "UTF-8", 0},
    {"eid,visual\n,a\tb\n", 2, 2, "visual: not clean", "control", 0},
    {"eid,visual\n,a\x7f\n", 2, 2, "visual: not clean", "", 0},
    {"eid,visual\n,a\rb\n", 2, 0, "carriage return", "", 0},
    {"eid,visual\n,a\r\r\n", 2, 0, "carriage return", "", 0},
    {H "A,hen,,,,,,1,,\n", 2, 2, "sex: unknown word: hen", "female or male", 0},
    {H "A,,gone,,,,,1,,\n", 2, 3, "status: unknown word: gone", "on-farm, sold, dead", 0},
    {H "A,,,sticker,,,,1,,\n", 2, 4, "form: unknown word: sticker", "flag tag, button tag", 0},
    {H "A,,,,nose,,,1,,\n", 2, 5, "place: unknown word: nose", "left ear, right ear", 0},
    {H "A,,,,,maybe,,1,,\n", 2, 6, "official: not a yes or no: maybe", "management", 0},
    {H "A,,,,,,,1,03/04/2026,\n", 2, 9, "born: not a date", "2026-03-28, 2026-03 or 2026", 0},
    {H "A,,,,,,,1,2026-02-29,\n", 2, 9, "born: not a date, or one that does not exist", "", 0},
    {H "A,,,,,,,1,,yesterday\n", 2, 10, "removed: not a date", "", 0},
    {"animal,visual,castrated,sex\nA,1,no,wether\n", 2, 3, "castrated: says no", "", 0},
    {"animal,visual,castrated\nA,1,official\n", 2, 3, "castrated: not a yes or no", "yes or true",
        0},
    {"visual,uid\n1,04zz\n", 2, 2, "uid: not hex digits: 04zz", "hex", 0},
    {"animal,visual,breed\nA,1,Boer\nB,2,\nA,3,Anglo\n", 4, 3,
        "breed: Anglo here, but something else in an earlier row of animal A, which began on line "
        "2",
        "agree", 0},
    {H "A,f,,,,,,1,,\nA,m,,,,,,2,,\n", 3, 2, "sex: m here", "", 0},
    {H "A,,sold,,,,,1,,\nA,,dead,,,,,2,,\n", 3, 3, "status: dead here", "", 0},
    {H "A,,,,,,,1,2026,\nA,,,,,,,2,2025,\n", 3, 9, "born: 2025 here", "", 0},
    {"animal,visual,castrated\nA,1,1\nA,2,0\n", 3, 3, "castrated: 0 here", "", 0},
};

static const struct refusal codes[] = {
    {"eid\n9.99E+14\n", 2, 1, "eid: \"9.99E+14\"", "text", LM_EDAMAGED},
    {"eid\n999000000012345.0\n", 2, 1, "eid: ", "text", LM_EDAMAGED},
    {"eid\n36000000098765\n", 2, 1, "leading zeros", "036000000098765", LM_EDAMAGED},
    {"eid\n8000000098765\n", 2, 1, "leading zeros", "008000000098765", LM_EDAMAGED},
    {"eid\n99900000001234500\n", 2, 1, "17 digits", "one code", LM_EDAMAGED},
    {"eid\n999999999999999\n", 2, 1, "fit in no chip", "", LM_ERANGE},
    {"eid\n000000000000000\n", 2, 1, "all zeros", "", LM_ERANGE},
    {"eid\n12345\n", 2, 1, "5 digits", "15 digits", LM_EFRAME},
    {"eid\nXX\n", 2, 1, "eid: \"XX\"", "", LM_EFRAME},
    {"eid,eid_text\n" E15 ",999-000000012346\n", 2, 1, "another code than 999-000000012346", "tag",
        0},
    {"eid,eid_text\n9.99E+14,9.99E+14\n", 2, 2, "eid_text: ", "", LM_EDAMAGED},
    {"eid,eid_text\n,hello\n", 2, 2, "eid_text: ", "", LM_EFRAME},
    {"visual,eid\n1,999000000012000\n2,999000000012000\n3," E15 "\n4,999000000012000\n", 2, 2,
        "3 rows carry the code 999000000012000: the file went through a spreadsheet",
        "no spreadsheet", LM_EDAMAGED},
};

static void expect(const struct refusal *r)
{
    struct result *out = read_text(r->text);
    const struct lm_problem *p = &out->problems[0];

    if (out->err != LM_EINPUT || out->n_problems == 0)
        fail_msg("taken: %s", r->text);
    if (p->line != r->line || p->column != r->column || !strstr(p->what, r->what) ||
        !strstr(p->mend, r->mend))
        fail_msg("%s: said at %ld:%ld \"%s\", to mend \"%s\"", r->text, p->line, p->column, p->what,
            p->mend);
    assert_int_equal(p->err, r->err ? r->err : LM_EINPUT);
    assert_string_equal(p->file, "flock.csv");
    assert_int_equal(out->n_problems, 1);
    assert_int_equal(out->n_records, 0);
    drop(out);
}

static void refuses_headers(void **state)
{
    (void) state;
    for (size_t i = 0; i < sizeof headers / sizeof headers[0]; i++)
        expect(&headers[i]);
}

static void refuses_rows(void **state)
{
    (void) state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++)
        expect(&rows[i]);
}

static void refuses_codes(void **state)
{
    (void) state;
    for (size_t i = 0; i < sizeof codes / sizeof codes[0]; i++)
        expect(&codes[i]);
}

static void counts_lines_inside_quotes(void **state)
{
    struct result *out = read_text("eid,visual\n,\"two\n\n\r\nlines\"\n\n,\x01\n");

    (void) state;
    assert_int_equal(out->n_problems, 2);
    assert_int_equal(out->problems[0].line, 2);
    assert_int_equal(out->problems[1].line, 7);
    drop(out);
}

static void refuses_nul_bytes(void **state)
{
    static const char row[] = "eid,visual\n,a\0b\n";
    static const char code[] = "eid,visual\n999\0"
                               "000000012345,\n";
    static const char head[] = "eid,vis\0ual\n";
    struct result *out = read_bytes(row, sizeof row - 1, false);

    (void) state;
    assert_int_equal(out->err, LM_EINPUT);
    assert_int_equal(out->problems[0].line, 2);
    assert_int_equal(out->problems[0].column, 2);
    assert_non_null(strstr(out->problems[0].what, "visual: holds a NUL byte"));
    drop(out);
    out = read_bytes(code, sizeof code - 1, false);
    assert_int_equal(out->problems[0].column, 1);
    assert_non_null(strstr(out->problems[0].what, "eid: holds a NUL byte"));
    drop(out);
    out = read_bytes(head, sizeof head - 1, false);
    assert_int_equal(out->err, LM_EINPUT);
    assert_int_equal(out->problems[0].column, 2);
    drop(out);
}

/* A cell of @p n bytes in the second data row, in column visual. */
static struct result *long_cell(size_t n, const char *before, const char *after)
{
    char *text = malloc(n + 100);
    size_t at = (size_t) snprintf(text, 50, "eid,visual\n,1\n,%s", before);
    struct result *out;

    memset(text + at, 'x', n);
    at += n;
    at += (size_t) snprintf(text + at, 40, "%s", after);
    out = read_bytes(text, at, false);
    free(text);
    return out;
}

static void bounds_cells_and_rows(void **state)
{
    static const struct {
        size_t n;
        const char *before, *after, *what;
        long line, column;
    } cases[] = {
        {LM_VISUAL_MAX + 1, "", "\n", "visual: longer than 127 bytes", 3, 2},
        {5120, "", "\n", "visual: longer than 4096 bytes", 3, 2},
        {5120, "\"", "\"\n", "visual: longer than 4096 bytes", 3, 2},
        {140000, "", "\n,2\n", "the line is longer than 131072 bytes", 3, 0},
        {600000, "", "", "the line is longer than 131072 bytes", 3, 0},
        {600000, "\"", "\"\n", "the line is longer than 131072 bytes", 3, 0},
    };
    struct result *out;

    (void) state;
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        out = long_cell(cases[i].n, cases[i].before, cases[i].after);
        assert_int_equal(out->err, LM_EINPUT);
        assert_int_equal(out->n_problems, 1);
        if (!strstr(out->problems[0].what, cases[i].what))
            fail_msg("%zu: %s", i, out->problems[0].what);
        assert_int_equal(out->problems[0].line, cases[i].line);
        assert_int_equal(out->problems[0].column, cases[i].column);
        drop(out);
    }
    out = long_cell(LM_VISUAL_MAX, "", "\n");
    assert_int_equal(out->err, LM_OK);
    drop(out);
}

/* A quote that opens and never closes must not swallow a whole big file. */
static void stops_at_a_quote_left_open(void **state)
{
    FILE *in = tmpfile();
    struct result *out;

    (void) state;
    fputs("eid,visual\n,\"oops\n", in);
    for (int i = 0; i < 100000; i++)
        fprintf(in, ",%d\n", i);
    rewind(in);
    out = read_file(in, false, LM_OK);
    assert_int_equal(out->err, LM_EINPUT);
    assert_int_equal(out->n_problems, 1);
    assert_int_equal(out->problems[0].line, 2);
    assert_int_equal(out->problems[0].column, 2);
    assert_non_null(strstr(out->problems[0].what, "not closed within 131072 bytes"));
    drop(out);
}

static void tells_every_bad_row(void **state)
{
    struct result *out = read_text("eid,visual,born\n"
                                   "x,1,2026\n"
                                   "y,2,nonsense\n"
                                   "," E15 ",2026\n"
                                   ",a\"b,2026\n"
                                   "z,4\n");
    static const long lines[] = {2, 3, 3, 5, 6};
    static const long columns[] = {1, 1, 3, 2, 3};

    (void) state;
    assert_int_equal(out->err, LM_EINPUT);
    assert_int_equal(out->n_problems, 5);
    for (int i = 0; i < 5; i++) {
        assert_int_equal(out->problems[i].line, lines[i]);
        assert_int_equal(out->problems[i].column, columns[i]);
    }
    drop(out);
}

static void tells_a_thousand_and_counts_the_rest(void **state)
{
    FILE *in = tmpfile();
    struct result *out;

    (void) state;
    fputs("eid\n", in);
    for (int i = 0; i < 1500; i++)
        fputs("bad\n", in);
    rewind(in);
    out = read_file(in, false, LM_OK);
    assert_int_equal(out->err, LM_EINPUT);
    assert_int_equal(out->n_problems, 1001);
    assert_int_equal(out->problems[999].line, 1001);
    assert_string_equal(out->problems[1000].what, "and 500 more problems");
    drop(out);
}

static void bounds_the_devices_of_an_animal(void **state)
{
    char text[4096] = "animal,visual\n";
    struct result *out;

    (void) state;
    for (unsigned i = 0; i < LM_DEVICES_MAX; i++)
        snprintf(text + strlen(text), 32, "A,%u\n", i);
    out = read_good(text);
    assert_int_equal(out->n_records, 1);
    assert_int_equal(out->records[0].n_devices, LM_DEVICES_MAX);
    drop(out);
    strcat(text, "A,x\n");
    out = read_text(text);
    assert_int_equal(out->err, LM_EINPUT);
    assert_int_equal(out->problems[0].line, 2 + LM_DEVICES_MAX);
    assert_non_null(strstr(out->problems[0].what, "more than 48 devices"));
    drop(out);
}

static void says_when_the_disk_refuses(void **state)
{
    FILE *in = fopen("/proc/self/mem", "rb"); /* reading at 0 gives an error, not an end */
    struct result *out;

    (void) state;
    if (!in)
        in = fopen("/", "rb");
    assert_non_null(in);
    out = read_file(in, false, LM_OK);
    assert_int_equal(out->err, LM_EIO);
    assert_non_null(strstr(out->problems[0].what, "could not be read"));
    drop(out);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(refuses_headers),
        cmocka_unit_test(refuses_rows),
        cmocka_unit_test(refuses_codes),
        cmocka_unit_test(counts_lines_inside_quotes),
        cmocka_unit_test(refuses_nul_bytes),
        cmocka_unit_test(bounds_cells_and_rows),
        cmocka_unit_test(stops_at_a_quote_left_open),
        cmocka_unit_test(tells_every_bad_row),
        cmocka_unit_test(tells_a_thousand_and_counts_the_rest),
        cmocka_unit_test(bounds_the_devices_of_an_animal),
        cmocka_unit_test(says_when_the_disk_refuses),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
