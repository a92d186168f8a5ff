/** @file test_vectors.c
 * fixtures/codes/vectors.csv: every column of every row, in both directions.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "lugmark/decode.h"

#define VECTORS "fixtures/codes/vectors.csv"
#define HEADER                                                                                     \
    "name,source,coding,digits,animal,retag,user,reserved,visual_start,rudi,data_block,code64,"    \
    "bytes,crc,crc_published,trailer,telegram"
#define ROWS 16 /**< as many as the fact sheets list: a lost row must not pass */

enum column {
    NAME,
    SOURCE,
    CODING,
    DIGITS,
    ANIMAL,
    RETAG,
    USER,
    RESERVED,
    VISUAL_START,
    RUDI,
    DATA_BLOCK,
    CODE64,
    BYTES,
    CRC,
    CRC_PUBLISHED,
    TRAILER,
    TELEGRAM,
    COLUMNS
};

struct row {
    char line[512];
    char *cell[COLUMNS];
    uint64_t code;
    uint32_t trailer;
    unsigned crc;
};

struct table {
    struct row rows[ROWS + 8];
    size_t n;
};

static bool split(struct row *r)
{
    char *at = r->line;
    for (unsigned c = 0; c < COLUMNS; c++) {
        r->cell[c] = at;
        at = strchr(at, ',');
        if ((at == NULL) != (c + 1 == COLUMNS))
            return false;
        if (at != NULL)
            *at++ = '\0';
    }
    r->code = strtoull(r->cell[CODE64], NULL, 16);
    r->crc = (unsigned) strtoul(r->cell[CRC], NULL, 16);
    r->trailer = (uint32_t) strtoul(r->cell[TRAILER], NULL, 16);
    return true;
}

static int load(void **state)
{
    static struct table table; /* big, and gone with the program */
    FILE *f = fopen(VECTORS, "r");
    char header[512];
    if (f == NULL || fgets(header, sizeof header, f) == NULL || strcmp(header, HEADER "\n") != 0) {
        fprintf(stderr, "%s: missing, or other columns than expected\n", VECTORS);
        return -1;
    }
    table.n = 0;
    while (table.n < sizeof table.rows / sizeof table.rows[0]) {
        struct row *r = &table.rows[table.n];
        if (fgets(r->line, sizeof r->line, f) == NULL)
            break;
        r->line[strcspn(r->line, "\n")] = '\0';
        if (!split(r)) {
            fprintf(stderr, "%s: row %zu is not whole\n", VECTORS, table.n + 2);
            return -1;
        }
        table.n++;
    }
    fclose(f);
    *state = &table;
    return 0;
}

#define EACH_ROW(r, state)                                                                         \
    for (const struct row *r = ((struct table *) *(state))->rows,                                  \
                          *end_ = r + ((struct table *) *(state))->n;                              \
         r < end_; r++)

static unsigned number(const struct row *r, enum column c)
{
    return (unsigned) strtoul(r->cell[c], NULL, 10);
}

static void to_hex(const uint8_t *bytes, size_t n, char *out)
{
    for (size_t i = 0; i < n; i++)
        snprintf(out + 2 * i, 3, "%02X", bytes[i]);
}

/** Name the row, since cmocka names only the line. */
static void want_text(const struct row *r, const char *got, enum column c)
{
    if (strcmp(got, r->cell[c]) != 0)
        fail_msg("row %s: column %d is %s, got %s", r->cell[NAME], (int) c + 1, r->cell[c], got);
}

static void want_number(const struct row *r, unsigned long got, enum column c)
{
    if (got != number(r, c))
        fail_msg("row %s: column %d is %s, got %lu", r->cell[NAME], (int) c + 1, r->cell[c], got);
}

static void all_rows_are_there(void **state)
{
    assert_int_equal(((struct table *) *state)->n, ROWS);
    size_t telegrams = 0, published = 0;
    EACH_ROW(r, state)
    {
        telegrams += r->cell[TELEGRAM][0] != '\0';
        published += number(r, CRC_PUBLISHED);
        assert_true(r->cell[SOURCE][0] != '\0');
    }
    assert_int_equal(telegrams, 12);
    assert_int_equal(published, 9);
}

static void fields_out_of_the_code(void **state)
{
    EACH_ROW(r, state)
    {
        char digits[LM_EID_TEXT_SIZE];
        struct lm_eid e = lm_eid_from_bits(r->code);
        struct lm_eid_fields f = lm_eid_unpack(e);
        want_text(r, lm_eid_format(e, digits), DIGITS);
        want_number(r, f.animal, ANIMAL);
        want_number(r, f.retag, RETAG);
        want_number(r, f.user, USER);
        want_number(r, f.reserved, RESERVED);
        want_number(r, f.visual_start, VISUAL_START);
        want_number(r, f.rudi, RUDI);
        want_number(r, f.data_block, DATA_BLOCK);
    }
}

static void code_out_of_the_fields(void **state)
{
    EACH_ROW(r, state)
    {
        size_t country = strlen(r->cell[DIGITS]) - 12;
        uint64_t digits = strtoull(r->cell[DIGITS], NULL, 10);
        struct lm_eid_fields f = {
            .animal = number(r, ANIMAL) != 0,
            .retag = (uint8_t) number(r, RETAG),
            .user = (uint8_t) number(r, USER),
            .reserved = (uint8_t) number(r, RESERVED),
            .visual_start = (uint8_t) number(r, VISUAL_START),
            .rudi = number(r, RUDI) != 0,
            .data_block = number(r, DATA_BLOCK) != 0,
            .country = (uint16_t) (digits / UINT64_C(1000000000000)),
            .national = digits % UINT64_C(1000000000000),
        };
        struct lm_eid e;
        char hex[17];
        assert_in_range(country, 3, 4);
        assert_int_equal(lm_eid_pack(&f, &e), LM_OK);
        snprintf(hex, sizeof hex, "%016llX", (unsigned long long) e.bits);
        want_text(r, hex, CODE64);
    }
}

static void bytes_as_sent_and_their_crc(void **state)
{
    EACH_ROW(r, state)
    {
        uint8_t low_first[8], hdx[LM_HDX_BYTES];
        char hex[17];
        for (unsigned i = 0; i < 8; i++)
            low_first[i] = (uint8_t) (r->code >> 8 * i);
        snprintf(hex, sizeof hex, "%04X", (unsigned) lm_crc16_kermit(low_first, 8));
        want_text(r, hex, CRC);
        lm_hdx_encode(r->code, 0, hdx); /* HDX sends the code bits in one run */
        to_hex(hdx + 1, 8, hex);
        want_text(r, hex, BYTES);
    }
}

static void telegram_out_of_the_code(void **state)
{
    EACH_ROW(r, state)
    {
        uint8_t bytes[LM_FDXB_BYTES];
        char hex[2 * LM_FDXB_BYTES + 1];
        if (r->cell[TELEGRAM][0] == '\0')
            continue;
        if (strcmp(r->cell[CODING], "fdxb") == 0) {
            lm_fdxb_encode(r->code, r->trailer, bytes);
            to_hex(bytes, LM_FDXB_BYTES, hex);
        } else {
            assert_string_equal(r->cell[CODING], "hdx");
            lm_hdx_encode(r->code, r->trailer, bytes);
            to_hex(bytes, LM_HDX_BYTES, hex);
        }
        want_text(r, hex, TELEGRAM);
    }
}

static void code_out_of_the_telegram(void **state)
{
    EACH_ROW(r, state)
    {
        struct lm_decoded d;
        const char *t = r->cell[TELEGRAM];
        if (t[0] == '\0')
            continue;
        assert_int_equal(lm_decode(t, strlen(t), &d, NULL), LM_OK);
        bool hdx = strcmp(r->cell[CODING], "hdx") == 0;
        assert_int_equal(d.form, hdx ? LM_FORM_HDX_HEX : LM_FORM_FDXB_HEX);
        assert_int_equal(d.telegram.coding, hdx ? LM_CODING_HDX : LM_CODING_FDXB);
        assert_true(d.eid.bits == r->code);
        assert_int_equal(d.eid.known, LM_EID_FULL);
        assert_int_equal(d.telegram.crc, r->crc);
        assert_int_equal(d.telegram.trailer, r->trailer);
        assert_int_equal(d.rotation, 0);
    }
}

static void texts_of_the_same_code(void **state)
{
    EACH_ROW(r, state)
    {
        struct lm_decoded d;
        char prefixed[19]; /* bare, an all-decimal block can be taken for a four-digit country */
        snprintf(prefixed, sizeof prefixed, "0x%s", r->cell[CODE64]);
        assert_int_equal(lm_decode(prefixed, 18, &d, NULL), LM_OK);
        assert_int_equal(d.form, LM_FORM_HEX64);
        assert_true(d.eid.bits == r->code);
        size_t len = strlen(r->cell[DIGITS]);
        enum lm_err err = lm_decode(r->cell[DIGITS], len, &d, NULL);
        assert_int_equal(err, len == 15 ? LM_OK : LM_EAMBIGUOUS);
        if (err == LM_OK)
            assert_true(lm_eid_key(d.eid) == lm_eid_key(lm_eid_from_bits(r->code)));
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(all_rows_are_there),
        cmocka_unit_test(fields_out_of_the_code),
        cmocka_unit_test(code_out_of_the_fields),
        cmocka_unit_test(bytes_as_sent_and_their_crc),
        cmocka_unit_test(telegram_out_of_the_code),
        cmocka_unit_test(code_out_of_the_telegram),
        cmocka_unit_test(texts_of_the_same_code),
    };
    return cmocka_run_group_tests(tests, load, NULL);
}
